"""How does a good input become a bad one? By bytes, by words, by lines, and by the grammar it was written in.

Every mutation draws from the generator it is given and from nothing else: the same seed gives the same inputs.
"""

import json
import random
import re
from collections.abc import Callable, Sequence
from typing import Any, Final

from tests.fuzz.sealed import resealed

LONGEST: Final = 6 * 1024  # bytes, as a rule, longer than any line may be; one in MANY grows to HUGE
HUGE: Final = 1 << 20
MANY: Final = 4000
ROUNDS: Final = 4  # mutations of one input at most

NUMBERS: Final = (
    *(b"0", b"-1", b"1", b"00", b"+1", b"255", b"256", b"65536", b"2147483648", b"-2147483649", b"4294967296"),
    *(b"99999999999999999999", b"1e9", b"1e400", b"-0", b"0.5", b"NaN", b"Infinity", b"0x10", b"1_0", b""),
    *("٣".encode(), "²".encode(), b"9" * 400),
)
ODD: Final = (
    *(b"\x00", b"\r", b"\n", b"\r\n", b"\n\n", b"\t", b" ", b":", b";", b'"', b"'", b"\\", b"\x7f", b"\x1b[31m"),
    *(b"\xff", b"\xc3", b"\xe2\x82", b"\xed\xa0\x80", b"\xf4\x90\x80\x80", b"\xc0\x80", b"\xef\xbb\xbf"),
    *("\u0085".encode(), "\u00a0".encode(), "\u2028".encode(), "\u202e".encode(), "\u3000".encode(), "İ".encode()),
    *("\ufffd".encode(), "é".encode(), "e\u0301".encode(), "😀".encode()),
)
YAML: Final = (
    *(b"&a", b"*a", b"!!python/object:os.system", b"!x", b"%YAML 1.1\n", b"---\n", b"...\n", b"<<: ", b"? ", b"- "),
    *(b"[", b"]", b"{", b"}", b"{a: ", b"[[[[[[[[", b"|\n", b">-\n", b"@", b"`", b"#", b": ", b"{", b"  ", b"\t"),
    *(b'"\\x00"', b'"\\ud800"', b'"\\U00110000"', b"null", b"~", b"no", b"010", b"1:30"),
)
JSON: Final[tuple[Any, ...]] = (
    *(None, True, False, 0, -1, 1, 2**31, 2**63, 2**64, 10**40, 0.5, 1e308, -0.0, "", " ", "a" * 300, "\x00", "\n"),
    *(
        "😀",
        "\u202e",
        "İ",
        "..",
        "../../etc/passwd",
        "{}",
        "{x!r}",
        "{0}",
        "%s",
        "=cmd",
        [],
        {},
        [[]],
        [None],
        {"": ""},
    ),
    *({"id": "x"}, [1, "a", None], "NaN", "2027-03-12T14:02:00Z", "9999-12-31T23:59:59+14:00", "0001-01-01T00:00:00Z"),
)


def mutated(seed: bytes, pool: Sequence[bytes], words: Sequence[bytes], shape: str, chance: random.Random) -> bytes:
    """One input made of another one; `pool` is what pieces are borrowed from."""
    data = seed
    ways = WAYS[shape]
    for _ in range(chance.randint(1, ROUNDS)):
        data = chance.choice(ways)(data, pool, words, chance)[:LONGEST]
    if data and chance.randrange(MANY) == 0:
        data *= chance.randint(1, max(1, HUGE // len(data)))
    return data


Way = Callable[[bytes, Sequence[bytes], Sequence[bytes], random.Random], bytes]


# -- bytes -------------------------------------------------------------------------------------------------------------


def _flip(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    if not data:
        return b"\n"
    made = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 2, 8))):
        made[chance.randrange(len(made))] ^= 1 << chance.randrange(8)
    return bytes(made)


def _odd(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    at = chance.randint(0, len(data))
    return data[:at] + chance.choice(ODD) * chance.choice((1, 1, 1, 2, 70)) + data[at:]


def _cut(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    at, to = sorted((chance.randint(0, len(data)), chance.randint(0, len(data))))
    return data[:at] + data[to:] if chance.random() < 0.7 else data[:at]


def _again(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    at, to = sorted((chance.randint(0, len(data)), chance.randint(0, len(data))))
    return data[:to] + data[at:to] * chance.choice((1, 1, 2, 5, 40, 400)) + data[to:]


def _other(data: bytes, pool: Sequence[bytes], _: Sequence[bytes], chance: random.Random) -> bytes:
    """Its beginning, and the end of another one."""
    other = chance.choice(pool)
    return data[: chance.randint(0, len(data))] + other[chance.randint(0, len(other)) :]


def _noise(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    at = chance.randint(0, len(data))
    return data[:at] + chance.randbytes(chance.choice((1, 4, 16, 64))) + data[at:]


# -- words and lines ---------------------------------------------------------------------------------------------------

_WORD: Final = re.compile(rb"[A-Za-z][A-Za-z_-]*")
_NUMBER: Final = re.compile(rb"-?[0-9]+")


def _word(data: bytes, pool: Sequence[bytes], words: Sequence[bytes], chance: random.Random) -> bytes:
    """Another word in a word's place: one of the grammar, or of another input."""
    found = list(_WORD.finditer(data))
    if not found:
        return data + (chance.choice(words) if words else b"word")
    one = chance.choice(found)
    others = words or _WORD.findall(chance.choice(pool)) or [b"word"]
    return data[: one.start()] + chance.choice(others) + data[one.end() :]


def _number(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data + chance.choice(NUMBERS)
    one = chance.choice(found)
    return data[: one.start()] + chance.choice(NUMBERS) + data[one.end() :]


def _lines(data: bytes, pool: Sequence[bytes], _: Sequence[bytes], chance: random.Random) -> bytes:
    """Whole lines go, come twice, change places, or come from elsewhere."""
    lines = data.splitlines(keepends=True) or [b""]
    at = chance.randrange(len(lines))
    match chance.randrange(5):
        case 0:
            del lines[at]
        case 1:
            lines.insert(at, lines[at])
        case 2:
            chance.shuffle(lines)
        case 3:
            other = chance.choice(pool).splitlines(keepends=True) or [b""]
            lines.insert(at, chance.choice(other))
        case _:
            lines[at] = lines[at].rstrip(b"\r\n")
    return b"".join(lines)


# -- YAML --------------------------------------------------------------------------------------------------------------


def _yaml(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    """Something YAML would read in its own way, at a place where a word begins or ends."""
    places = [match.start() for match in re.finditer(rb"\b", data)] or [0]
    at = chance.choice(places)
    return data[:at] + chance.choice(YAML) + data[at:]


def _indent(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    lines = data.splitlines(keepends=True) or [b""]
    at = chance.randrange(len(lines))
    lines[at] = b" " * chance.randint(0, 6) + lines[at].lstrip(b" ")
    return b"".join(lines)


# -- JSON --------------------------------------------------------------------------------------------------------------


def tree_mutated(value: Any, chance: random.Random, words: Sequence[bytes] = ()) -> Any:
    """The same JSON with one place changed: another value, gone, added, nested, or under another name."""
    path: list[tuple[Any, Any]] = []
    node = value
    while isinstance(node, (dict, list)) and node and chance.random() < 0.8:
        key = chance.choice(list(node)) if isinstance(node, dict) else chance.randrange(len(node))
        path.append((node, key))
        node = node[key]
    if not path:
        return chance.choice(JSON) if chance.random() < 0.2 else {"extra": value}
    holder, key = path[-1]
    match chance.randrange(5):
        case 0:
            del holder[key]
        case 1:
            holder[key] = [node] if chance.random() < 0.5 else {"a": node}
        case 2 if isinstance(holder, dict):
            holder[chance.choice(words).decode("utf-8", "replace") if words else "extra"] = chance.choice(JSON)
        case 3 if words:
            holder[key] = chance.choice(words).decode("utf-8", "replace")
        case _:
            holder[key] = chance.choice(JSON)
    return value


def _json(data: bytes, _: Sequence[bytes], words: Sequence[bytes], chance: random.Random) -> bytes:
    try:
        value = json.loads(data)
        return json.dumps(tree_mutated(value, chance, words), ensure_ascii=chance.random() < 0.5).encode()
    except (ValueError, RecursionError):
        return data[: chance.randint(0, len(data))]


def _nested(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    deep = chance.choice((2, 31, 32, 33, 500, 5000))
    opened, closed = chance.choice(((b"[", b"]"), (b'{"a":', b"}")))
    return opened * deep + data + closed * chance.choice((deep, deep, deep - 1))


def _twice(data: bytes, _: Sequence[bytes], __: Sequence[bytes], chance: random.Random) -> bytes:
    """A member a second time."""
    found = list(re.finditer(rb'"[^"]*": *(?:"[^"]*"|[0-9]+|true|null)', data))
    if not found:
        return data
    one = chance.choice(found)
    return data[: one.end()] + b"," + one[0] + data[one.end() :]


# -- journal -----------------------------------------------------------------------------------------------------------


def _sealed(data: bytes, _: Sequence[bytes], words: Sequence[bytes], chance: random.Random) -> bytes:
    """Records with other content, all sums right again: what another version, or a hand, may have written."""

    def change(fields: dict[str, Any]) -> Any:
        return tree_mutated(fields, chance, words) if chance.random() < 0.3 else fields

    return resealed(data, change)


_BYTES: Final[tuple[Way, ...]] = (_flip, _odd, _cut, _again, _other, _noise)
_TEXT: Final[tuple[Way, ...]] = (*_BYTES, _word, _word, _number, _number, _lines, _lines)
WAYS: Final[dict[str, tuple[Way, ...]]] = {
    "lines": _TEXT,
    "json": (*_TEXT, *[_json] * 60, _nested, _twice),  # a text spoilt elsewhere is no JSON any more, and goes no deeper
    "yaml": (*_TEXT, _yaml, _yaml, _yaml, _indent, _indent),
    "journal": (*_BYTES, _number, _lines, _lines, _sealed, _sealed, _sealed, _sealed, _sealed),
}

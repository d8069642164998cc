"""What does a sentence about points mean? Text becomes a condition.

    sentence = [ "every" | "any" ] who what says [ "for" time ]
    says     = "is" v | "is not" v | "is one of" v, v | "at least" v | "at most" v
             | "advances" | "stands" | "changed" | "is known"

`who` is a device, a house part or a group; `what` its point with spaces for dots; `v` is read by the point's own spec.
Text that holds the word "for", or a comma in a list, stands in double quotes. One parser for scenes, protections,
limits and doors, so that a sentence means the same wherever it stands.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, Protocol

from stagectl.model.capabilities.base import Capability
from stagectl.model.conditions import AnyOf, Condition, Leaf, every
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.words import nearest

MAX_SENTENCE: Final = 1000  # letters; own choice, ten times the longest we met
MAX_S: Final = 86_400.0  # a day: nobody waits longer for a point

_SECONDS: Final = {"ms": 0.001, "s": 1.0, "min": 60.0}
_TIME: Final = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?) ?([A-Za-z]+)")
_BLANKS: Final = re.compile(r'("[^"]*")|\s+')
# Longer phrases first: "is" begins three others.
_SAYS: Final = re.compile(r"(?<!\S)(?:is one of|is not|is known|is|at least|at most|advances|stands|changed)(?!\S)")
_QUOTED: Final = re.compile(r'"([^"]*)"')
_FOR: Final = re.compile(r"(?<!\S)for(?!\S)")
_ONE_VALUE: Final = re.compile(r'(?:"[^"]*"|[^",])*')
_BARE: Final = ("advances", "stands", "changed", "is known")  # claims without a value
# indexes of house parts that are names; all others count from one
NAMED_INDEXES: Final = ("destination", "level", "station")


class SentenceError(ValueError):
    """A sentence says nothing we know. `str()` is the problem, one sentence; `remedy` is what to write instead."""

    def __init__(self, problem: str, remedy: str = "") -> None:
        super().__init__(problem)
        self.remedy = remedy


class Vocabulary(Protocol):
    """Whom sentences may speak of."""

    def devices(self) -> Mapping[str, Capability]:
        """Devices and house parts by name, in the order people wrote them."""

    def groups(self) -> Mapping[str, tuple[str, ...]]:
        """Names of devices by the name of their group; never empty."""


@dataclass(frozen=True, slots=True)
class _Claim:
    """What is said of a point, not yet of whom."""

    what: str
    says: str
    rest: str


def parse(text: str, vocabulary: Vocabulary) -> Condition:
    """Read one sentence.

    Returns: leaves bound to their devices; `every` of a group is All, `any` is AnyOf, one device a Leaf; a time makes
        it Lasts, for `any` one in each part: one box must hold it that long, not several in turn.
    Raises:
        SentenceError: a word, name, point, value or unit that is not known.
    """
    words = _tidy(text)
    members, quantifier, rest = _whom(words, vocabulary)
    sentence, seconds = _split_time(rest)
    parts = [_claim(name, capability, sentence) for name, capability in members]
    if quantifier == "any":
        lasting = [part.lasting(seconds) if seconds else part for part in parts]
        return lasting[0] if len(lasting) == 1 else AnyOf(tuple(lasting))
    whole = every(*parts)
    return whole.lasting(seconds) if seconds else whole


def parse_for(text: str, device: str, vocabulary: Vocabulary) -> Condition:
    """Read a sentence that may leave out `who`: then it is about `device`.

    The device's own points are tried first; what is none of them is read as a whole sentence.

    Raises:
        SentenceError: as `parse`.
    """
    words = _tidy(text)
    capability = vocabulary.devices().get(device)
    if capability is None:
        raise _nobody(device, vocabulary)
    sentence, seconds = _split_time(words)
    if not _points_in(sentence, capability) and _names_somebody(words, vocabulary):
        return parse(text, vocabulary)
    leaf = _claim(device, capability, sentence)
    return leaf.lasting(seconds) if seconds else leaf


def parse_points(text: str, vocabulary: Vocabulary) -> tuple[tuple[str, PointSpec[Any]], ...]:
    """Read whose and which point: "hall output 3 source", "every iso input source".

    Returns: (device, point) of each member, in the group's order.
    Raises:
        SentenceError: a name or point is not known, or "any" is said.
    """
    members, quantifier, rest = _whom(_tidy(text), vocabulary)
    if quantifier == "any":
        raise SentenceError('"any" names no point.', 'Say "every", or one device.')
    return tuple((name, point_of(name, capability, rest)) for name, capability in members)


def parse_time(text: str) -> float:
    """Read "2 s", "500 ms" or "2 min" in seconds.

    Raises:
        SentenceError: it is none, or not above 0 and at most a day.
    """
    found = _TIME.fullmatch(text.strip())
    if found is None or found[2] not in _SECONDS:
        raise SentenceError(f'"{text[:40]}" is no time.', 'Write it like "2 s", "500 ms" or "2 min".')
    seconds = float(found[1]) * _SECONDS[found[2]]
    if not 0 < seconds <= MAX_S:
        raise SentenceError(f"{text.strip()} is no time to wait.", "Write one above 0, and at most a day.")
    return seconds


def point_of(who: str, capability: Capability, what: str) -> PointSpec[Any]:
    """Find the point that people call `what`.

    Args:
        who: the device, for the error.
        capability: its kind.
        what: "output 3 source" or "output.3.source".
    Raises:
        SentenceError: there is none, or its index is no number from one.
    """
    name = ".".join(what.split())
    if not name:
        raise SentenceError(f"no point of {who} is named.", f"Say {who}, its point and what you claim of it.")
    spec = capability.point(name)
    if spec is None:
        known = (one.replace(".", " ") for one in capability.names())
        raise SentenceError(f'{who} has no point "{name.replace(".", " ")[:60]}".', nearest(what, known))
    for kind, index in _indexes(spec):
        if kind not in NAMED_INDEXES and not re.fullmatch("[1-9][0-9]{0,5}", index):
            raise SentenceError(f'{who} has no {kind} "{index[:40]}".', f"Write the number of the {kind}, from 1.")
    return spec


def _indexes(spec: PointSpec[Any]) -> Iterator[tuple[str, str]]:
    """What each index of a filled point is called in its template, and its value."""
    if spec.template:
        for kind, index in zip(spec.template.split("."), spec.name.split("."), strict=True):
            if kind.startswith("{"):
                yield kind[1:-1], index


def _tidy(text: str) -> str:
    if len(text) > MAX_SENTENCE:
        raise SentenceError(f"this sentence is longer than {MAX_SENTENCE} letters.", "Write several in a list.")
    if text.count('"') % 2:
        raise SentenceError('a quote (") is not closed.', "Close it, or take it out.")
    return _BLANKS.sub(lambda found: found[1] or " ", text).strip()


def _whom(words: str, vocabulary: Vocabulary) -> tuple[list[tuple[str, Capability]], str, str]:
    """Return the members spoken of, "every", "any" or "" and the rest of the sentence."""
    devices, groups = vocabulary.devices(), vocabulary.groups()
    first, _, rest = words.partition(" ")
    quantifier = first if first in ("every", "any") and first not in devices else ""
    if quantifier:
        first, _, rest = rest.partition(" ")
    if not first:
        raise SentenceError("nobody is named.", "Begin with a device, a part of the house or a group.")
    if first in groups:
        if not quantifier:
            raise SentenceError(f"{first} is a group.", f'Say "every {first}" or "any {first}".')
        return [(name, devices[name]) for name in groups[first]], quantifier, rest
    if first not in devices:
        raise _nobody(first, vocabulary)
    if quantifier:
        raise SentenceError(f"{first} is no group.", f'Take "{quantifier}" out.')
    return [(first, devices[first])], "", rest


def _names_somebody(words: str, vocabulary: Vocabulary) -> bool:
    first = words.partition(" ")[0]
    return first in ("every", "any") or first in vocabulary.devices() or first in vocabulary.groups()


def _nobody(name: str, vocabulary: Vocabulary) -> SentenceError:
    known = (*vocabulary.devices(), *vocabulary.groups())
    return SentenceError(f'there is no device, part or group "{name[:40]}".', nearest(name, known))


def _split_time(words: str) -> tuple[str, float]:
    """Take "for 2 s" off the end; 0 where none is said."""
    found = _FOR.search(_hide(words))
    if found is None:
        return words, 0
    start, end = found.span()
    try:
        return words[:start].rstrip(), parse_time(words[end:].strip())
    except SentenceError as error:
        raise SentenceError(str(error), f"{error.remedy} Text that holds the word for stands in quotes.") from None


def _hide(words: str) -> str:
    """The sentence with quoted text blotted out, letter for letter, so that no word is found inside it."""
    return _QUOTED.sub(lambda found: "\x00" * len(found[0]), words)


def _claims(sentence: str) -> list[_Claim]:
    """Every way to part the sentence at a phrase, from the left: a name may hold a word like "is"."""
    return [
        _Claim(sentence[: found.start()].strip(), found[0], sentence[found.end() :].strip())
        for found in _SAYS.finditer(_hide(sentence))
    ]


def _points_in(sentence: str, capability: Capability) -> bool:
    return any(capability.point(".".join(claim.what.split())) is not None for claim in _claims(sentence))


def _claim(who: str, capability: Capability, sentence: str) -> Leaf:
    claims = _claims(sentence)
    if not claims:
        point_of(who, capability, sentence)  # a point that does not exist is the better thing to say
        raise SentenceError(
            f'nothing is claimed of {who} "{sentence[:60]}".',
            "Say is, is not, is one of, at least, at most, advances, stands, changed or is known.",
        )
    known = (one for one in claims if capability.point(".".join(one.what.split())) is not None)
    claim = next(known, claims[0])
    spec = point_of(who, capability, claim.what)
    return Leaf(spec, claim.says, _values(spec, claim), who)


def _values(spec: PointSpec[Any], claim: _Claim) -> tuple[Any, ...]:
    where = spec.name.replace(".", " ")
    if claim.says in _BARE:
        if claim.rest:
            raise SentenceError(
                f'nothing may follow "{claim.says}", but here stands "{claim.rest[:40]}".', "Take it out."
            )
        if claim.says in ("advances", "stands") and not spec.moves_s:
            raise SentenceError(f"{where} is no running value: it never {claim.says}.", 'Say what it "is".')
        return ()
    if not claim.rest:
        raise SentenceError(f'after "{where} {claim.says}" the value is missing.', "Write it.")
    if claim.says == "is one of":
        return tuple(_value(spec, one) for one in _listed(claim.rest))
    if claim.says in ("at least", "at most") and spec.type not in (int, float):
        raise SentenceError(f"{where} is no number.", 'Say "is" or "is one of".')
    if claim.says in ("is", "is not") and spec.type is str and _reserved(claim.rest):
        raise SentenceError(f'"{claim.says} {claim.rest[:40]}" is not read here.', "Put the text in double quotes.")
    return (_value(spec, claim.rest),)


def _reserved(text: str) -> bool:
    """Would this text be taken for a claim by whoever wrote it?"""
    return text == "as set up" or text.startswith(("one of ", "at least ", "at most ", "not "))


def _listed(text: str) -> list[str]:
    hidden, parts, start = _hide(text), [], 0
    for stop in [*(found.start() for found in re.finditer(",", hidden)), len(text)]:
        parts.append(text[start:stop].strip())
        start = stop + 1
    if "" in parts:
        raise SentenceError("a value is missing beside a comma.", "Write it, or take the comma out.")
    return parts


def _value(spec: PointSpec[Any], text: str) -> Any:
    quoted = _QUOTED.fullmatch(text)
    if quoted is None and '"' in text:
        raise SentenceError(f"quotes stand inside {text[:40]}.", "Put the whole value in quotes, or none of it.")
    try:
        return spec.read(quoted[1] if quoted else text)
    except RefusedError as error:
        raise SentenceError(str(error), error.remedy or _allowed(spec, text)) from error


def _allowed(spec: PointSpec[Any], text: str) -> str:
    if spec.type in (int, float):
        unit = f' with the unit "{spec.unit}"' if spec.unit else ""
        return f"Write a number{unit}{', or ' + ' or '.join(spec.words) if spec.words else ''}."
    return nearest(text, spec.words_of) if spec.words_of else "Write one line of text."


def unbound(leaf: Leaf) -> Leaf:
    """The same claim with its target left open, for who keeps the device beside it."""
    return replace(leaf, device=None)

"""Are the pages about ASVS 5.0, levels 1 and 2, whole and true? And what of them has no better place.

Source: numbers and levels of the rows in the standard's own table of 5.0.0, in its public repository, chapters V1 to
V17: 70 of level 1 and 183 of level 2, which are the counts the standard itself gives.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, get_args

import pytest
from pydantic import BaseModel

from stagectl.control import passwords
from stagectl.driverkit.real import RealIds
from stagectl.inlets.http.routes import ROUTES
from stagectl.model.errors import RefusedError
from stagectl.model.secret import Secret
from tests.inlets.http.conftest import Front
from tests.inlets.http.test_routes import READS

ROOT: Final = Path(__file__).parents[3]
CODE: Final = ("stagectl", "drivers/stagectl_drivers")
ROWS: Final = """
1.2.1 1.2.2 1.2.3 1.2.4 1.2.5 1.3.1 1.3.2 1.5.1 2.1.1 2.2.1 2.2.2 2.3.1 3.2.1 3.2.2 3.3.1 3.4.1 3.4.2 3.5.1 3.5.2 3.5.3
4.1.1 4.4.1 5.2.1 5.2.2 5.3.1 5.3.2 6.1.1 6.2.1 6.2.2 6.2.3 6.2.4 6.2.5 6.2.6 6.2.7 6.2.8 6.3.1 6.3.2 6.4.1 6.4.2 7.2.1
7.2.2 7.2.3 7.2.4 7.4.1 7.4.2 8.1.1 8.2.1 8.2.2 8.3.1 9.1.1 9.1.2 9.1.3 9.2.1 10.4.1 10.4.2 10.4.3 10.4.4 10.4.5 11.3.1
11.3.2 11.4.1 12.1.1 12.2.1 12.2.2 13.4.1 14.2.1 14.3.1 15.1.1 15.2.1 15.3.1
""".split()  # noqa: SIM905 - numbers in rows are read more easily
ROWS_2: Final = """
1.1.1 1.1.2 1.2.6 1.2.7 1.2.8 1.2.9 1.3.3 1.3.4 1.3.5 1.3.6 1.3.7 1.3.8 1.3.9 1.3.10 1.3.11 1.4.1 1.4.2 1.4.3 1.5.2
2.1.2 2.1.3 2.2.3 2.3.2 2.3.3 2.3.4 2.4.1 3.3.2 3.3.3 3.3.4 3.4.3 3.4.4 3.4.5 3.4.6 3.5.4 3.5.5 3.7.1 3.7.2
4.1.2 4.1.3 4.2.1 4.3.1 4.3.2 4.4.2 4.4.3 4.4.4 5.1.1 5.2.3 5.4.1 5.4.2 5.4.3 6.1.2 6.1.3 6.2.9 6.2.10 6.2.11 6.2.12
6.3.3 6.3.4 6.4.3 6.4.4 6.5.1 6.5.2 6.5.3 6.5.4 6.5.5 6.6.1 6.6.2 6.6.3 6.8.1 6.8.2 6.8.3 6.8.4 7.1.1 7.1.2 7.1.3
7.3.1 7.3.2 7.4.3 7.4.4 7.4.5 7.5.1 7.5.2 7.6.1 7.6.2 8.1.2 8.2.3 8.4.1 9.2.2 9.2.3 9.2.4 10.1.1 10.1.2 10.2.1 10.2.2
10.3.1 10.3.2 10.3.3 10.3.4 10.4.6 10.4.7 10.4.8 10.4.9 10.4.10 10.4.11 10.5.1 10.5.2 10.5.3 10.5.4 10.5.5 10.6.1 10.6.2
10.7.1 10.7.2 10.7.3 11.1.1 11.1.2 11.2.1 11.2.2 11.2.3 11.3.3 11.4.2 11.4.3 11.4.4 11.5.1 11.6.1 12.1.2 12.1.3 12.3.1
12.3.2 12.3.3 12.3.4 13.1.1 13.2.1 13.2.2 13.2.3 13.2.4 13.2.5 13.3.1 13.3.2 13.4.2 13.4.3 13.4.4 13.4.5 14.1.1 14.1.2
14.2.2 14.2.3 14.2.4 14.3.2 14.3.3 15.1.2 15.1.3 15.2.2 15.2.3 15.3.2 15.3.3 15.3.4 15.3.5 15.3.6 15.3.7 16.1.1 16.2.1
16.2.2 16.2.3 16.2.4 16.2.5 16.3.1 16.3.2 16.3.3 16.3.4 16.4.1 16.4.2 16.4.3 16.5.1 16.5.2 16.5.3 17.1.1 17.2.1 17.2.2
17.2.3 17.2.4 17.3.1 17.3.2
""".split()  # noqa: SIM905 - as above
PAGE, PAGE_2 = ROOT / "docs" / "asvs.md", ROOT / "docs" / "asvs-level-2.md"
STATES: Final = ("met", "none", "else")
LEAST_2: Final = 0.6  # of the rows of level 2 that apply, met and shown by a test; own choice, the first bar


def table(page: Path) -> list[list[str]]:
    """The cells of each row of a page's first table: number, topic, state, shown by or why."""
    lines = [line for line in page.read_text().splitlines() if re.match(r"\| [0-9.]+ \|", line)]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def names_in(path: Path) -> set[str]:
    """Names of the tests in a file."""
    tree = ast.parse(path.read_text())
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return {node.name for node in ast.walk(tree) if isinstance(node, kinds) and node.name.startswith("test_")}


def shown(row: list[str], rows: dict[str, list[str]]) -> bool:
    """Is it shown by a test, named in it or in the row that it refers to?"""
    again = re.search(r"\bas ([0-9]+(?:[.][0-9]+)+)", row[3])
    return "::test_" in row[3] or (again is not None and again[1] != row[0] and shown(rows[again[1]], rows))


@pytest.mark.parametrize(
    ("page", "numbers", "count", "states"), [(PAGE, ROWS, 70, STATES), (PAGE_2, ROWS_2, 183, (*STATES, "not yet"))]
)
def test_a_page_has_each_row_of_its_level_once(
    page: Path, numbers: list[str], count: int, states: tuple[str, ...]
) -> None:
    assert len(numbers) == count
    assert [row[0] for row in table(page)] == numbers
    assert {row[2] for row in table(page)} <= set(states)
    assert all(len(row) == 4 and row[3] for row in table(page))


@pytest.mark.parametrize("page", [PAGE, PAGE_2])
def test_each_test_that_a_page_names_is_there(page: Path) -> None:
    named = set(re.findall(r"`(tests/[a-z_/]+\.py)::(test_[a-z0-9_]+)`", page.read_text()))
    assert len(named) > 50
    there = {path: names_in(ROOT / path) for path in {path for path, _ in named}}
    assert [f"{path}::{name}" for path, name in sorted(named) if name not in there[path]] == []


def test_what_is_met_is_shown_by_a_test_or_a_page_and_what_is_not_has_a_reason() -> None:
    rows = {row[0]: row for row in table(PAGE)}
    for number, _, state, why in rows.values():
        if state == "met":
            assert shown(rows[number], rows) or "SECURITY.md" in why or "requirements.lock" in why, number
        else:
            assert len(why) >= 8, number


def test_three_in_five_rows_of_level_two_that_apply_are_met_and_shown_by_a_test() -> None:
    rows = {row[0]: row for row in table(PAGE_2)}
    apply = [row for row in rows.values() if row[2] != "none"]
    met = [row for row in apply if row[2] == "met" and shown(row, rows)]
    assert len(met) / len(apply) >= LEAST_2
    assert len(met) == sum(row[2] == "met" for row in apply), "met is what a test shows"
    text = " ".join(PAGE_2.read_text().split())
    assert f"{len(met)} of {len(apply)} are met and shown by a test." in text
    assert f"Not yet: {', '.join(row[0] for row in apply if row[2] == 'not yet')}." in text


@pytest.mark.parametrize("page", [PAGE, PAGE_2])
def test_the_pages_that_are_named_are_there(page: Path) -> None:
    names = re.findall(
        r"`((?:docs|stagectl)/[a-z0-9_/-]+\.(?:md|py)|[A-Za-z]+\.md|requirements\.lock)`", page.read_text()
    )
    assert [path for path in names if not (ROOT / path).is_file()] == []


# -- what has no better place -----------------------------------------------------------------------------------------


Sources = list[tuple[Path, ast.Module]]


@pytest.fixture(scope="module")
def sources() -> Sources:
    """Our modules, parsed once: it takes seconds."""
    files = sorted(
        path for folder in CODE for path in (ROOT / folder).rglob("*.py") if "node_modules" not in path.parts
    )
    assert len(files) > 150
    return [(path, ast.parse(path.read_text())) for path in files]


def called(tree: ast.Module) -> set[str]:
    """What is called: "eval", "hashlib.md5", ..."""
    return {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}


def imported(tree: ast.Module) -> set[str]:
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    return names | {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}


def test_no_code_is_made_of_text(sources: Sources) -> None:
    never = {"eval", "exec", "compile", "os.system", "os.popen", "pickle.loads", "pickle.load", "marshal.loads"}
    found = [(path.name, names) for path, tree in sources if (names := called(tree) & never)]
    assert found == []
    shells = [path.name for path, _ in sources if re.search(r"shell\s*=\s*True", path.read_text())]
    assert shells == []


def test_no_xml_is_read_with_a_parser_that_follows_entities(sources: Sources) -> None:
    never = ("lxml", "xml.sax", "xml.dom", "xmlrpc")
    writes = "xml.sax.saxutils"  # only escapes text
    names = [(path.name, name) for path, tree in sources for name in imported(tree) if name != writes]
    assert [(path, name) for path, name in names if name.startswith(never)] == []


def test_no_weak_hash_is_used(sources: Sources) -> None:
    """A checksum that a standard of the trade names may be weak: it guards against a bad disk, and proves nobody."""
    never = {"hashlib.md5", "hashlib.sha1", "md5", "sha1"}
    found = {path.relative_to(ROOT).parts[1] for path, tree in sources if called(tree) & never}
    assert found <= {"copyoff"}


def test_no_page_of_ours_writes_html_from_text() -> None:
    pages = [
        *(ROOT / "stagectl" / "inlets" / "http").glob("*_page.py"),
        *(ROOT / "stagectl" / "desk" / "src").rglob("*.ts"),
    ]
    assert len(pages) > 3
    never = re.compile(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|unsafeHTML|\beval\(|new Function")
    assert [path.name for path in pages if never.search(path.read_text())] == []


def test_password_fields_hide_and_take_what_a_manager_pastes() -> None:
    pages = [
        *(ROOT / "stagectl" / "inlets" / "http").glob("*_page.py"),
        *(ROOT / "stagectl" / "desk" / "src").rglob("*.ts"),
    ]
    asking = [text for path in pages if re.search(r"<input[^>]*password", text := path.read_text())]
    assert asking
    for text in asking:
        fields = re.findall(r"<input[^>]*password[^>]*>", text)
        assert all(re.search(r'type="password"', field) for field in fields), fields
        assert not re.search(r"onpaste|@paste|autocomplete=\"off\"", text)


def test_a_page_that_keeps_a_token_takes_it_away_again() -> None:
    pages = [
        *(ROOT / "stagectl" / "inlets" / "http").glob("*_page.py"),
        *(ROOT / "stagectl" / "desk" / "src").rglob("*.ts"),
    ]
    kept = {path.name: set(re.findall(r"(\w+)Storage\.setItem\(\"([^\"]+)\"", path.read_text())) for path in pages}
    tokens = {
        (name, where, key) for name, found in kept.items() for where, key in found if re.search("token|guest", key)
    }
    assert tokens, "the guest's page keeps one, so that it lives over a reload"
    for name, where, key in tokens:
        assert where == "session", f"{name} keeps {key} beyond its tab"
        text = next(path for path in pages if path.name == name).read_text()
        assert f'sessionStorage.removeItem("{key}")' in text, name


async def test_every_answer_with_a_body_says_its_type(front: Front) -> None:
    for route in ROUTES:
        if route.method != "GET" or route.kind in ("websocket", "text/event-stream"):
            continue
        path = READS.get(route.path_text, (route.path_text, 0))[0]
        if "{" in path:
            continue
        async with front.session.get(path if path.startswith("/") else f"/api/v1/{path}") as answer:
            kind = answer.headers["Content-Type"]
            body = await answer.read()
        assert body, path
        if kind.startswith("text/"):
            assert "charset=utf-8" in kind, path
        else:
            assert kind.startswith(("application/json", "application/problem+json")), path


def test_a_token_is_256_bits_of_the_systems_generator() -> None:
    made = {RealIds().secret() for _ in range(1000)}
    assert len(made) == 1000
    assert {len(one) for one in made} == {43}, "43 signs of 64 kinds hold 256 bits"
    source = (ROOT / "stagectl" / "driverkit" / "real.py").read_text()
    assert "secrets.token_urlsafe(32)" in source


# -- and of level 2 ---------------------------------------------------------------------------------------------------

PATTERNS: Final = {f"re.{name}" for name in ("compile", "match", "fullmatch", "search", "sub", "split", "findall")}
HASHES: Final = {"hashlib", "hmac", "ssl", "secrets"}
LEADS: Final = re.compile(r"HTTP(Found|SeeOther|Moved\w+|Temporary\w+|Permanent\w+)|http-equiv")


MADE: Final = {
    "copyoff/plan.py",  # layouts of the site file: which gaps they may have is checked (test_plan.py)
    "copyoff/mhlignore.py",  # lines that say what a hash list leaves out: each sign escaped (test_mhl.py)
    "text_deck/codec.py",  # names that a deck gives its values: each sign escaped (drivers/text_deck/test_codec.py)
    "capabilities/base.py",  # names of points, from our own tables
    "conformance/garbage.py",  # words and numbers of a driver that is tried by the conformance suite
}


def constant(node: ast.expr) -> bool:
    """Is it a text of ours: written there, by the name of one, or put together of such?"""
    if isinstance(node, ast.JoinedStr):
        return all(constant(one.value if isinstance(one, ast.FormattedValue) else one) for one in node.values)
    name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return isinstance(node, ast.Constant) or name.isupper()


def test_no_pattern_and_no_text_with_gaps_comes_from_outside(sources: Sources) -> None:
    """But where it says so above."""
    found: list[tuple[str, int]] = []
    for path, tree in sources:
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            if ast.unparse(node.func) in PATTERNS:
                ours = constant(node.args[0])
            elif isinstance(node.func, ast.Attribute) and node.func.attr in ("format", "format_map"):
                ours = constant(node.func.value)
            else:
                continue
            if not ours:
                found.append(("/".join(path.parts[-2:]), node.lineno))
    assert {name for name, _ in found} == MADE, found


def test_the_page_lists_every_module_that_hashes_or_enciphers(sources: Sources) -> None:
    text = PAGE_2.read_text().partition("## What is enciphered")[2].partition("\n## ")[0]
    listed = set(re.findall(r"`(stagectl/[a-z0-9_/]+\.py)`", text))
    uses = {str(path.relative_to(ROOT)) for path, tree in sources if imported(tree) & HASHES}
    brought = {"stagectl/copyoff/sftp.py", "stagectl/copyoff/s3.py"}  # by libraries that are loaded when asked for
    assert listed == uses | brought


def bodies() -> Iterator[type[BaseModel]]:
    """The shapes of all bodies that a door takes, with those inside them."""

    def inside(kind: Any) -> Iterator[type[BaseModel]]:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield kind
            for field in kind.model_fields.values():
                yield from inside(field.annotation)
        for part in get_args(kind):
            yield from inside(part)

    for route in ROUTES:
        yield from inside(route.body)


def test_bodies_take_what_is_named_and_nothing_else() -> None:
    kinds = set(bodies())
    assert len(kinds) > 20
    loose = [kind.__name__ for kind in kinds if kind.model_config.get("extra") != "forbid"]
    lax = [kind.__name__ for kind in kinds if kind.model_config.get("strict") is not True]
    assert (loose, lax) == ([], [])


def test_no_door_takes_an_address_to_go_to() -> None:
    taken = {name for kind in bodies() for name in kind.model_fields}
    taken |= {name for route in ROUTES if route.query is not None for name in route.query.model_fields}
    assert {"name", "take", "verb"} <= taken
    assert [
        name for name in taken if re.search("ur[il]|host|addr|port$|endpoint|server|link|callback|file", name)
    ] == []


def test_no_answer_leads_elsewhere(sources: Sources) -> None:
    """A Location says where a verdict will be, below our own API; nothing else sends anybody on."""
    texts = {path.name: path.read_text() for path, _ in sources if "inlets" in path.parts}
    assert [name for name, text in texts.items() if LEADS.search(text)] == []
    places = [place for text in texts.values() for place in re.findall(r'"Location": f?"([^"]*)', text)]
    assert len(places) > 3
    assert [place for place in places if not place.startswith("/api/v1/")] == []


async def test_every_answer_tells_browsers_what_they_may(front: Front) -> None:
    """Source: rows 3.4.3 to 3.4.6 and 14.3.2; what may be loaded falls back on default-src (CSP level 3, 6.1)."""
    asked = [READS.get(route.path_text, (route.path_text, 0))[0] for route in ROUTES if route.method == "GET"]
    for path in (*(one for one in asked if "{" not in one), "/nowhere", "/assets/none.js", "days/today/timeline.svg"):
        if path.endswith(("/live", "/events")):
            continue
        async with front.session.get(path if path.startswith("/") else f"/api/v1/{path}") as answer:
            told = answer.headers
        policy = told["Content-Security-Policy"].split("; ")
        assert {"default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"} <= set(policy), path
        assert "unsafe" not in told["Content-Security-Policy"], path
        assert told["X-Content-Type-Options"] == "nosniff", path
        assert told["Referrer-Policy"] == "no-referrer", path
        assert told["Cache-Control"] == "no-store", path


def desk() -> dict[str, str]:
    """What runs in browsers: our pages and scripts, by name."""
    pages = [
        *(ROOT / "stagectl" / "inlets" / "http").glob("*_page.py"),
        *(ROOT / "stagectl" / "desk" / "src").rglob("*.ts"),
    ]
    assert len(pages) > 20
    return {page.name: page.read_text() for page in pages}


def test_nothing_but_tokens_and_tastes_stays_in_a_browser() -> None:
    kept = {key for text in desk().values() for key in re.findall(r"Storage\.setItem\(([^,]+),", text)}
    tokens, tastes = {"token", "guest"}, {"light", "keys", "keymap"}
    assert kept == {f'"stagectl-{one}"' for one in tokens | tastes}
    assert [name for name, text in desk().items() if re.search(r"indexedDB|document\.cookie|caches\.open", text)] == []


def test_pages_use_no_plug_in_no_message_and_no_prototype() -> None:
    never = re.compile(r"<(object|embed|applet)\b|postMessage|\"message\"|__proto__|\.prototype|Object\.assign")
    heard = re.compile(r"socket\.\w+\(\"message\"")  # of our own socket, from where the page came
    found = [name for name, text in desk().items() if never.search(heard.sub("", text))]
    assert found == []


def test_words_of_the_house_make_no_password() -> None:
    """Source: rows 6.1.2 and 6.2.11; the words are those that SECURITY.md lists."""
    (line,) = re.findall(r"^\| passwords \|.*", (ROOT / "SECURITY.md").read_text(), re.MULTILINE)
    words = re.findall(r"`([a-z]+)`", line)
    assert len(words) >= 15
    for word in words:
        for text in (
            f"{word}123456789!!",
            f"{word.title()}{word}{word}"[:256] if len(word) > 3 else f"{word}2026202620",
        ):
            with pytest.raises(RefusedError, match="tried first"):
                passwords.check(Secret(text), "ines")

"""Is the page about ASVS 5.0, level 1, whole and true? And what of it has no better place.

Source: the numbers of the rows of level 1 in the standard's public repository, chapters V1 to V17 (drafts of 5.0.0;
6.2.8 and 6.3.2 from memory of 5.0.0): 70 of them, which is the count the standard itself gives.
"""

import ast
import re
from pathlib import Path
from typing import Final

from stagectl.driverkit.real import RealIds
from stagectl.inlets.http.routes import ROUTES
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
STATES: Final = ("met", "none", "else")


def rows() -> list[list[str]]:
    """The cells of each row of the page."""
    text = (ROOT / "docs" / "asvs.md").read_text()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line[:3] > "| 0"]


def table() -> list[list[str]]:
    return [row for row in rows() if re.fullmatch(r"[0-9.]+", row[0])]


def names_in(path: Path) -> set[str]:
    """Names of the tests in a file."""
    tree = ast.parse(path.read_text())
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef)
    return {node.name for node in ast.walk(tree) if isinstance(node, kinds) and node.name.startswith("test_")}


def test_the_page_has_each_row_of_level_one_once() -> None:
    assert len(ROWS) == 70
    assert [row[0] for row in table()] == ROWS
    assert {row[2] for row in table()} <= set(STATES)
    assert all(len(row) == 4 and row[3] for row in table())


def test_each_test_that_the_page_names_is_there() -> None:
    named = re.findall(r"`(tests/[a-z_/]+\.py)::(test_[a-z0-9_]+)`", (ROOT / "docs" / "asvs.md").read_text())
    assert len(named) > 50
    missing = [f"{path}::{name}" for path, name in named if name not in names_in(ROOT / path)]
    assert missing == []


def test_what_is_met_is_shown_by_a_test_or_a_page_and_what_is_not_has_a_reason() -> None:
    for number, _, state, why in table():
        if state == "met":
            again = re.search(r"as ([0-9.]+[0-9])", why)
            assert "::test_" in why or "SECURITY.md" in why or "requirements.lock" in why or again, number
        else:
            assert len(why) >= 8, number


def test_the_pages_that_are_named_are_there() -> None:
    text = (ROOT / "docs" / "asvs.md").read_text()
    for path in re.findall(r"`((?:docs|stagectl)/[a-z_/-]+\.(?:md|py)|[A-Za-z]+\.md|requirements\.lock)`", text):
        assert (ROOT / path).is_file(), path


# -- what has no better place -----------------------------------------------------------------------------------------


def sources() -> list[tuple[Path, ast.Module]]:
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


def test_no_code_is_made_of_text() -> None:
    never = {"eval", "exec", "compile", "os.system", "os.popen", "pickle.loads", "pickle.load", "marshal.loads"}
    found = [(path.name, names) for path, tree in sources() if (names := called(tree) & never)]
    assert found == []
    shells = [path.name for path, _ in sources() if re.search(r"shell\s*=\s*True", path.read_text())]
    assert shells == []


def test_no_xml_is_read_with_a_parser_that_follows_entities() -> None:
    never = ("lxml", "xml.sax", "xml.dom", "xmlrpc")
    writes = "xml.sax.saxutils"  # only escapes text
    names = [(path.name, name) for path, tree in sources() for name in imported(tree) if name != writes]
    assert [(path, name) for path, name in names if name.startswith(never)] == []


def test_no_weak_hash_is_used() -> None:
    """A checksum that a standard of the trade names may be weak: it guards against a bad disk, and proves nobody."""
    never = {"hashlib.md5", "hashlib.sha1", "md5", "sha1"}
    found = {path.relative_to(ROOT).parts[1] for path, tree in sources() if called(tree) & never}
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

"""What does the site want to be told, beside what every house tells?"""

import re
from typing import Final

from stagectl.filetree import Table, Text
from stagectl.model.sentences import Vocabulary
from stagectl.sentencefile import parse_node
from stagectl.site.draft import Draft
from stagectl.site.entries import AlarmEntry
from stagectl.site.rules import members
from stagectl.site.schema import AlarmShape, words_of
from stagectl.site.words import read_line, read_name, slug_of

GRADES: Final = ("now", "soon", "later")
MOST: Final = 200  # entries; own choice, ten times what one person can keep in mind
_BRACED: Final = re.compile(r"\{([^}]*)\}?")


def read_alarms(draft: Draft, vocabulary: Vocabulary) -> tuple[AlarmEntry, ...]:
    """Read the site's own alarms; `of` a group makes one for each member."""
    entries: list[AlarmEntry] = []
    names: dict[tuple[str, str], int] = {}
    for count, node in enumerate(draft.listed(draft.root.get("alarms"))):
        with draft.issues.gather():
            if count == MOST:
                raise node.wrong(f"these are more than {MOST} alarms.", "Say less: nobody can act on so many.")
            entries.extend(_read(draft, node.as_table(), vocabulary, names))
    return tuple(entries)


def _read(draft: Draft, table: Table, vocabulary: Vocabulary, names: dict[tuple[str, str], int]) -> list[AlarmEntry]:
    issues = draft.issues
    with issues.gather():
        table.only(words_of(AlarmShape))
    grade = says = remedy = name = ""
    with issues.gather():
        grade = table["grade"].as_text().one_of(GRADES, "grade")
    with issues.gather():
        says = _words(table["says"].as_text())
    with issues.gather():
        remedy = _words(table["remedy"].as_text())
    with issues.gather():
        # the first word keeps it apart from the alarms that every house has
        name = f"site-{read_name(table['name'].as_text()) if 'name' in table else slug_of(says)}"
    if draft.is_doubtful(table):
        return []
    made = []
    for device in members(table["of"], vocabulary):
        if device not in draft.devices:
            raise table["of"].wrong(f"{device} is no device.", "Name a device or a group of them.")
        if first := names.get((device, name)):
            same = name.removeprefix("site-")
            raise table.wrong(
                f'another alarm of {device} has the name "{same}", in line {first}.', "Give each a `name` of its own."
            )
        names[device, name] = table.line
        made.append(
            AlarmEntry(device, name, parse_node(table["when"], vocabulary, device), grade, says, remedy, table.line)
        )
    return made


def _words(text: Text) -> str:
    """A sentence; the only thing in braces is {called}."""
    line = read_line(text)
    for found in _BRACED.finditer(line):
        if found[0] != "{called}":
            raise text.wrong(f'"{found[0][:20]}" stands for nothing.', "Write {called} for the device.")
    return line

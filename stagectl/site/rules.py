"""What does the site guard: limits, and points that are protected?"""

from typing import Final

from stagectl.control.access import Role
from stagectl.filetree import Node, Table, Text
from stagectl.model.conditions import All, Condition, Leaf
from stagectl.model.sentences import Vocabulary, unbound
from stagectl.model.words import nearest
from stagectl.sentencefile import parse_node, points_node
from stagectl.site.draft import Draft
from stagectl.site.entries import ProtectEntry
from stagectl.site.schema import ProtectShape, words_of
from stagectl.site.words import read_line

_LIFTERS: Final[dict[str, Role | None]] = {"nobody": None, "operator": Role.OPERATOR, "engineer": Role.ENGINEER}


def read_limits(draft: Draft, vocabulary: Vocabulary) -> tuple[tuple[str, Leaf], ...]:
    """Read bounds of settable points; one of a group binds each member."""
    limits: list[tuple[str, Leaf]] = []
    for node in draft.listed(draft.root.get("limits")):
        with draft.issues.gather():
            text = node.as_text()
            if not draft.is_doubtful(text):
                limits.extend(_bound(leaf, text) for leaf in _leaves(parse_node(text, vocabulary), text))
    return tuple(limits)


def _leaves(condition: Condition, text: Text) -> list[Leaf]:
    parts = condition.parts if isinstance(condition, All) else (condition,)
    leaves = [part for part in parts if isinstance(part, Leaf) and part.says in ("at least", "at most")]
    if len(leaves) != len(parts):
        raise text.wrong("this is no limit.", 'Write one like "mixer bus 3 level at most 0 dB".')
    return leaves


def _bound(leaf: Leaf, text: Text) -> tuple[str, Leaf]:
    if not leaf.spec.settable:
        raise text.wrong(f"{leaf.spec.name.replace('.', ' ')} is never set, so nothing limits it.", "Take it out.")
    return leaf.device or "", unbound(leaf)


def read_protect(draft: Draft, vocabulary: Vocabulary) -> tuple[ProtectEntry, ...]:
    """Read which points are guarded; `of` a group makes one entry for each member."""
    entries: list[ProtectEntry] = []
    for node in draft.listed(draft.root.get("protect")):
        with draft.issues.gather():
            entries.extend(_read_entry(draft, node.as_table(), vocabulary))
    return tuple(entries)


def _read_entry(draft: Draft, table: Table, vocabulary: Vocabulary) -> list[ProtectEntry]:
    issues = draft.issues
    with issues.gather():
        table.only(words_of(ProtectShape))
    because, may_lift = "", None
    with issues.gather():
        because = read_line(table["because"].as_text())
    if "may lift" in table:
        with issues.gather():
            may_lift = _LIFTERS[table["may lift"].as_text().one_of(_LIFTERS, "role")]
    if draft.is_doubtful(table):
        return []
    made = []
    for device in members(table.get("of"), vocabulary):
        points = _points(draft, table["points"], vocabulary, device)
        while_ = parse_node(table["while"], vocabulary, device) if "while" in table else None
        made.append(ProtectEntry(points, because, while_, may_lift, table.line))
    return made


def members(node: Node | None, vocabulary: Vocabulary) -> tuple[str, ...]:
    """Whom `of` names; one empty name if it is not there."""
    if node is None:
        return ("",)
    text, devices, groups = node.as_text(), vocabulary.devices(), vocabulary.groups()
    if text.value in groups:
        return groups[text.value]
    if text.value in devices:
        return (text.value,)
    raise text.wrong(f'there is no device or group "{text.value[:40]}".', nearest(text.value, (*devices, *groups)))


def _points(draft: Draft, node: Node, vocabulary: Vocabulary, device: str) -> tuple[tuple[str, str], ...]:
    found: dict[tuple[str, str], None] = {}
    rows = node.as_rows()
    if not rows.items:
        raise rows.wrong("the list is empty.", "Write which points are guarded.")
    for item in rows:
        with draft.issues.gather():
            for who, spec in points_node(item.as_text(), vocabulary, device):
                found[who, spec.name] = None
    return tuple(found)

"""What does each step of a scene file say? One reader for a whole tree of steps, with one set of arguments."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from stagectl.control.access import Role
from stagectl.control.wishes import build
from stagectl.filetree import Issues, Node, Rows, Table, Text
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.model.words import nearest
from stagectl.sentencefile import parse_node, time_node
from stagectl.shoot.scene import (
    RUNNING,
    AskPerson,
    Check,
    Do,
    Fails,
    Head,
    InTurn,
    Pause,
    PutBack,
    SetPoints,
    Step,
    Together,
    WaitFor,
    Want,
)
from stagectl.shoot.scenewords import Words, fill, fill_text, one_line
from stagectl.shoot.wants import read_want

MAX_STEPS: Final = 200  # own choice, ten times the longest we met
MAX_BRANCHES: Final = 16  # as many as a run may do side by side; own choice

ANY_STEP: Final = ("only if", "otherwise")
# word of the step -> further words it must have, further words it may have
STEP_WORDS: Final[Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "check": ((), ()),
    "wait for": (("within",), ()),
    "set": ((), ()),
    "set up": ((), ()),
    "do": ((), ("with",)),
    "together": ((), ()),
    "ask": (("of", "within"), ()),
    "pause": ((), ()),
    "put back": ((), ()),
}
EVERYTHING: Final = "everything"


class StepReader:
    """Reads steps with one set of arguments. Goes on after a wrong step; what is wrong goes to `issues`."""

    def __init__(self, words: Words, given: Mapping[str, str], issues: Issues) -> None:
        self._words = words
        self._given = given
        self._issues = issues
        self._count = 0

    def steps(self, node: Node, above: str) -> tuple[Step, ...]:
        """The steps of a list, numbered below `above`."""
        rows = node.as_rows()
        if not rows.items:
            raise rows.wrong("no step stands here.", "Write one.")
        found: list[Step] = []
        for index, item in enumerate(rows, 1):
            self._count += 1
            if self._count > MAX_STEPS:
                raise item.wrong(f"these are more than {MAX_STEPS} steps.", "Part the scene in two.")
            with self._issues.gather():
                found.append(self._step(item, f"{above}{index}"))
        return tuple(found)

    def _step(self, node: Node, number: str) -> Step:
        if isinstance(node, Rows):
            return InTurn(Head(number, "in turn", node.line), self.steps(node, f"{number}."))
        table = node.as_table()
        word = self._word(table)
        must, may = STEP_WORDS[word]
        table.only((word, *must, *may, *ANY_STEP))
        for one in must:
            table[one]
        head = self._head(table, number)
        if word == "together":
            branches = table[word].as_rows()
            if len(branches) > MAX_BRANCHES:
                raise branches.wrong(f"these are more than {MAX_BRANCHES} branches.", "Do some of them in turn.")
            return Together(replace(head, say="together"), self.steps(branches, f"{number}."))
        return self._leaf(fill(table, self._given).as_table(), word, head)

    def _word(self, table: Table) -> str:
        """The one word that says what the step does."""
        words = [word for word in STEP_WORDS if word in table]
        if len(words) == 1:
            return words[0]
        if words:
            raise table.keys[words[1]].wrong(f"this step says {words[0]} too.", "Write two steps.")
        first = next(iter(table.keys.values()), None)
        if first is None:
            raise table.wrong("this step says nothing.", f"Say one of: {', '.join(STEP_WORDS)}.")
        raise first.wrong(f'there is no step "{first.value[:40]}".', nearest(first.value, STEP_WORDS))

    def _head(self, table: Table, number: str) -> Head:
        only_if, otherwise = None, ""
        if (node := table.get("only if")) is not None:
            only_if = parse_node(fill(node, self._given), self._words.vocabulary)
        if (node := table.get("otherwise")) is not None:
            otherwise = fill_text(node.as_text(), self._given, ("called",)).value
        goes_on = otherwise == Fails.GO_ON
        return Head(number, "", table.line, only_if, "" if goes_on else otherwise, goes_on)

    def _leaf(self, table: Table, word: str, head: Head) -> Step:
        node = table[word]
        vocabulary = self._words.vocabulary
        match word:
            case "check":
                return Check(replace(head, say=f"check {clause(node)}"), parse_node(node, vocabulary))
            case "wait for":
                within = table["within"].as_text()
                head = replace(head, say=f"wait for {clause(node)}, {within.value} at most")
                return WaitFor(head, parse_node(node, vocabulary), time_node(within))
            case "set":
                wants = self._wants(node.as_table())
                said = ", ".join(f"{one.device} {_spaced(one.spec.name)} to {one.spec.say(one.value)}" for one in wants)
                return SetPoints(replace(head, say=f"set {said}"), wants)
            case "set up":
                return self._set_up(node.as_text(), head)
            case "do":
                return self._do(table, head)
            case "ask":
                question, of = one_line(node), table["of"].as_text()
                self._see_person(of)
                head = replace(head, say=f'ask {of.value}: "{question}"')
                return AskPerson(head, question, of.value, time_node(table["within"].as_text()))
            case "pause":
                return Pause(replace(head, say=f"pause {node.as_text().value}"), time_node(node.as_text()))
        node.as_text().one_of((EVERYTHING,), "thing to put back")
        return PutBack(replace(head, say="put back what this run changed"))

    def _see_person(self, of: Text) -> None:
        asked = (Role.OPERATOR.value, Role.ENGINEER.value, *self._words.people)
        if of.value not in asked:
            raise of.wrong(f'there is no role or person "{of.value[:40]}".', nearest(of.value, asked))

    def _wants(self, table: Table) -> tuple[Want, ...]:
        issues, wants = Issues(), list[Want]()
        for who, points in table.items():
            with issues.gather():
                for what, value in points.as_table().items():
                    with issues.gather():
                        key = points.as_table().keys[what]
                        found = read_want(self._words, table.keys[who], key, value.as_text(), readable=False)
                        wants += [Want(device, spec, value) for device, spec, value in found]
        issues.finish()
        if not wants:
            raise table.wrong("nothing is set here.", "Write a device, its points and their values.")
        if twice := _twice([(one.device, one.spec.name) for one in wants]):
            raise table.wrong(f"{' '.join(twice).replace('.', ' ')} is set twice in one step.", "Keep one.")
        return tuple(wants)

    def _set_up(self, name: Text, head: Head) -> Do:
        """What differs from a set-up, put right in its order; a short form of the verb."""
        args = {"setup": name.value}
        self._see_verb("setups", "apply", args, name, name)
        return Do(replace(head, say=f"set up {name.value}"), "setups", "apply", args)

    def _do(self, table: Table, head: Head) -> Do:
        text = table["do"].as_text()
        target, _, verb = " ".join(text.value.split()).removeprefix("every ").rpartition(" ")
        devices, groups = self._words.vocabulary.devices(), self._words.vocabulary.groups()
        if not target:
            raise text.wrong("a device and a verb stand here.", "Write it like `takes roll`.")
        if target not in devices and target not in groups:
            known = (*devices, *groups)
            raise text.wrong(f'there is no device, part or group "{target[:40]}".', nearest(target, known))
        if verb == "set":
            raise text.wrong("a point is set by a step of its own.", "Write a `set` step.")
        written = table.get("with")
        args = {name: value.as_text().value for name, value in written.as_table().items()} if written else {}
        for device in groups.get(target, (target,)):
            self._see_verb(device, verb, args, text, written)
        said = " ".join([target, verb, *(f"{name} {value}" for name, value in args.items() if value)])
        return Do(replace(head, say=said), target, verb, args)

    def _see_verb(self, device: str, verb: str, args: Mapping[str, str], text: Text, written: Node | None) -> None:
        capability = self._words.vocabulary.devices()[device]
        sample: dict[str, Any] = dict(args)
        if sample.get("take") == RUNNING:
            sample["take"] = 1
        made = capability.verb(verb)
        if made is not None and Flags.ERASES in made.spec.flags:
            raise text.wrong("a scene never erases a medium.", "Do it by hand: an engineer's act, in two steps.")
        try:
            self._words.see(device, build(device, capability, verb, sample))
        except RefusedError as error:
            remedy = error.remedy
            if made is not None and Flags.ENDS_TAKE in made.spec.flags and "take" not in args:
                remedy = "Write `with: {take: running}`."
            blamed = text if made is None or written is None else written
            raise blamed.wrong(str(error), remedy) from error


def clause(node: Node) -> str:
    """Sentences in a file as one clause."""
    match node:
        case Text():
            return node.value
        case Rows():
            return " and ".join(clause(item) for item in node)
        case Table():
            if part := node.get("not"):
                return f"not ({clause(part)})"
            options = node.get("any of")
            return " or ".join(clause(item) for item in options) if isinstance(options, Rows) else ""
    return ""


def _spaced(name: str) -> str:
    return name.replace(".", " ")


def _twice(pairs: Sequence[tuple[str, str]]) -> tuple[str, str] | None:
    seen: dict[tuple[str, str], None] = {}
    for pair in pairs:
        if pair in seen:
            return pair
        seen[pair] = None
    return None

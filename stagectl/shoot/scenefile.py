"""What does a scene file say, and on which line is it wrong?

The file is read anew for every run, with that run's arguments filled in: so a run holds its own copy, and what was
checked is what is run.
"""

from collections.abc import Mapping
from typing import Final

from stagectl.control.access import Role
from stagectl.filetree import Issues, Node
from stagectl.model.conditions import Condition
from stagectl.sentencefile import parse_node
from stagectl.shoot.scene import Fails, Scene, Step
from stagectl.shoot.scenesteps import StepReader, clause
from stagectl.shoot.scenewords import Words, fill, fill_in, one_line, read_arguments

KEYS: Final = ("scene", "about", "for", "with", "steps", "ends with", "if it fails")


def read_scene(root: Node, name: str, words: Words, given: Mapping[str, str] | None = None) -> Scene:
    """Read a scene.

    Args:
        root: the file's tree.
        name: what doors call it: the file's name without its ending.
        words: whom it may speak of.
        given: arguments; None or left out: their defaults.

    Raises:
        FileError, FileErrors: all that is wrong in the file.
        RefusedError: an argument is not known or can't be read.
    """
    table = root.as_table()
    issues = Issues()
    with issues.gather():
        table.only(KEYS)
    mistyped = bool(issues.errors)  # then what seems to be missing is there, with a slip in it
    called = about = ""
    if "scene" in table or not mistyped:
        with issues.gather():
            called = one_line(table["scene"])
    with issues.gather():
        about = one_line(table["about"]) if "about" in table else ""
    role = Role.OPERATOR
    if (node := table.get("for")) is not None:
        with issues.gather():
            role = Role(node.as_text().one_of([Role.OPERATOR.value, Role.ENGINEER.value], "role to start a scene"))
    fails = Fails.STOP
    if (node := table.get("if it fails")) is not None:
        with issues.gather():
            fails = Fails(node.as_text().one_of([one.value for one in Fails], "way to go when a step fails"))
    before = len(issues.errors)
    arguments = read_arguments(table.get("with"), words, issues)
    if len(issues.errors) > before:
        issues.finish()  # each use of a wrong argument would be told again
    if given is None:
        filled = {one.name: one.default for one in arguments.values()}
    else:
        issues.finish()
        filled = fill_in(name, arguments, given, words)
    reader = StepReader(words, filled, issues)
    steps: tuple[Step, ...] = ()
    if "steps" in table or not mistyped:
        with issues.gather():
            steps = reader.steps(table["steps"], "")
    ends: Condition | None = None
    ends_say = ""
    if (node := table.get("ends with")) is not None:
        with issues.gather():
            node = fill(node, filled)
            ends, ends_say = parse_node(node, words.vocabulary), clause(node)
    issues.finish()
    return Scene(name, called, about, role, arguments, filled, steps, ends, ends_say, fails, table)

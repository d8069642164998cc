"""What of a press can be done before anybody presses? All but the asking of what has turned since.

Each command is judged once, when it is kept. From then on a change of any reading it depends on puts it among the
turned ones; go judges those again and sends the others without a look at them, for with a thousand recorders that
look would be what the last one waits for.
"""

from collections.abc import Callable, Iterable

from stagectl.control.groups import Command
from stagectl.model.board import Board
from stagectl.model.points import Poked, Reading

Flight = tuple[Callable[[bytes], bool], bytes]  # how bytes leave, and the bytes; False: they did not


class _Turn(Poked):
    """Notes that a reading which a kept command depends on has become another one."""

    __slots__ = ("command", "readings", "turned")

    def __init__(self, command: Command, turned: dict[Command, None], readings: Iterable[Reading[object]]) -> None:
        self.command = command
        self.turned = turned
        self.readings = tuple(readings)
        for reading in self.readings:
            reading.turns = (*reading.turns, self)

    def poke(self, reading: Reading[object]) -> None:
        self.turned[self.command] = None

    def end(self) -> None:
        for reading in self.readings:
            reading.turns = tuple(one for one in reading.turns if one is not self)


class Kept:
    """Commands armed for later, alike but for their box, in the order they were kept.

    Attributes:
        turned: those that go has to judge again.
        flights: how the bytes of the others leave; a lost link turns its command.
        devices: whom they are for.
    """

    def __init__(self) -> None:
        self.commands: list[Command] = []
        self.turned: dict[Command, None] = {}
        self.flights: list[tuple[Command, Flight]] = []
        self.devices: set[str] = set()
        self._turns: list[_Turn] = []

    def add(self, board: Board, command: Command, flight: Flight | None, *, ready: bool) -> None:
        """Keep one more. `ready`: it may go as things stand, by its own needs."""
        verb, device = command.ask.verb, command.ask.target
        self.commands.append(command)
        self.devices.add(device)
        if flight is not None:
            self.flights.append((command, flight))
        if flight is None or not ready:
            self.turned[command] = None
        leaves = [*verb.needs().leaves(), *verb.moot().leaves()]
        readings = {id(one): one for one in (board.reading(leaf.device or device, leaf.spec) for leaf in leaves)}
        self._turns.append(_Turn(command, self.turned, readings.values()))

    def end(self) -> None:
        """Follow nothing any more. Safe to call twice."""
        turns, self._turns = self._turns, []
        for turn in turns:
            turn.end()

"""How is what the boxes show kept? Compared, written into the set-up's file, read again, and told."""

import asyncio
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from stagectl.control.access import Person
from stagectl.filetree import Table
from stagectl.model.errors import RefusedError
from stagectl.shoot.setups import keep, wording
from stagectl.shoot.setups.capture import Captured, capture
from stagectl.shoot.setups.chosen import Chosen
from stagectl.shoot.setups.setup import Setup, Sheet
from stagectl.shoot.setups.shelf import NAME, Shelf

if TYPE_CHECKING:
    from stagectl.shoot.house import House

WRITE_S: Final = 10.0  # until a file and its versions are safe on disk


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked of a capture.

    Attributes:
        name: of the set-up; one that is not there is made, if `add` is said.
        of: which part, as `Chosen` reads it; empty: all of it.
        add: write also what the set-up says nothing of.
        version: a name to keep the written text under too.
        called: what people call a new one.
        dry: only say what would be written.
    """

    name: str
    of: str = ""
    add: bool = False
    version: str = ""
    called: str = ""
    dry: bool = False


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, or would be; `say` is all of it in a sentence."""

    path: Path
    told: Captured
    say: str


class Scribe:
    """Writes set-ups. One at a time."""

    def __init__(self, house: "House") -> None:
        self._house = house
        self._busy = False

    async def capture(self, order: Order, person: Person) -> Written:
        """Write what the boxes show.

        Raises:
            RefusedError: no such set-up, nothing that is known, the file can't be changed or written, or another
                capture is under way.
        """
        if self._busy:
            raise RefusedError("Another capture is under way.", remedy="Ask again in a moment.", code="busy")
        self._busy = True
        try:
            return await self._capture(order, person)
        finally:
            self._busy = False

    async def _capture(self, order: Order, person: Person) -> Written:
        house, version = self._house, keep.version_named(order.version)
        house.setups.reload()  # a person may have written since
        chosen = Chosen(house, order.of)
        setup = self._found(order)
        told = capture(house, setup, chosen, add=order.add)
        path = setup.own.path
        if not path.name:
            path = house.setups.shelf.folder / f"{order.name}.yaml"
            if not told.changes:
                raise RefusedError(
                    "There is nothing known that could be kept.", remedy="Name another part.", code="unchanged"
                )
            wall = house.world.clock.wall()
            about = (
                f"As the boxes were on {wall:%Y-%m-%d} at {house.teller.at(wall)}, kept by {person.name or 'somebody'}."
            )
            before, text = "", keep.fresh(setup.called, about, told.changes)
        else:
            before = path.read_bytes().decode("utf-8")
            text = keep.written(before, path, told.changes)
        if not order.dry and (text != before or version):
            await self._put(path, text, before if text != before else "", version)
            values = [change.say() for change in told.changes]
            house.chronicle.write(
                "setup", person.name, what="captured", setup=setup.name, version=version, values=values
            )
            house.setups.reload()
        new = sum(not change.was for change in told.changes)
        say = wording.captured(
            called=setup.called,
            changed=len(told.changes) - new,
            added=new,
            unknown=len(told.unknown),
            path=path.name,
            version=version,
            dry=order.dry,
        )
        return Written(path, told, say)

    def _found(self, order: Order) -> Setup:
        """The set-up that is meant, or an empty one to be made. Raises RefusedError."""
        shelf = self._house.setups.shelf
        if "@" in order.name:
            raise RefusedError("A version stays as it is.", remedy="Name the set-up alone.", code="unchanged")
        known = order.name in shelf.setups or order.name.casefold() in map(str.casefold, _called(shelf))
        broken = any(Path(error.file).stem == order.name for error in shelf.errors)
        if known or broken or not order.add:
            return shelf.find(order.name)
        if not NAME.fullmatch(order.name):
            raise RefusedError(
                f'A set-up\'s file is not called "{order.name[:40]}".',
                remedy="Write small letters, digits and hyphens, a letter first.",
                code="argument",
            )
        called = order.called or order.name.replace("-", " ").capitalize()
        nowhere = Table("", 0, 0, (), {}, {})
        return Setup(
            Sheet(order.name, called, "", (), MappingProxyType({}), None, Path(), nowhere), MappingProxyType({})
        )

    async def _put(self, path: Path, text: str, before: str, version: str) -> None:
        try:
            async with asyncio.timeout(WRITE_S):
                await self._house.world.offload.run("setup", keep.put, path, text, before, version)
        except TimeoutError as error:
            raise RefusedError(f"{path} was not written within {WRITE_S:g} s.", code="unwritten") from error
        except OSError as error:
            why = error.strerror or "it can't be written"
            raise RefusedError(
                f"{path} can't be written: {why}.", remedy="Look at its rights and its disk.", code="unwritten"
            ) from error


def _called(shelf: Shelf) -> list[str]:
    return [one.called for one in shelf.setups.values()]

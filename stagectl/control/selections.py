"""What was somebody shown before an act that ends more than their own take? Select first, then operate.

In a house with accounts a cut of a take that somebody else rolled is refused the first time, with what it would end
and a word. The same cut with that word, by the same person, within 10 s and while the picture is the one that was
shown, is carried out. Any change of the picture asks anew. Where there are no accounts the number of the take is the
guard, and nobody is asked twice.
"""

from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

from stagectl.control.access import Person
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags
from stagectl.model.verbs import Ask
from stagectl.model.world import Clock, Stream

LIFE_S: Final = 10.0
KEPT: Final = 200  # selections at once; the oldest goes first
LETTERS: Final = 5
SIGNS: Final = "23456789CFHJMPQRVWX"  # none is taken for another, none makes a word of any language; own choice
SHOWN: Final = 3  # recorders named in the sentence; the rest are counted


class Log(Protocol):
    """The chronicle, as far as writing goes."""

    def write(self, kind: str, who: str, **data: Any) -> int: ...


@dataclass(frozen=True, slots=True)
class Picture:
    """A take as it is now: its number, who rolled it, and which recordings run in it.

    `rolling` has each recorder with how often it has rolled in this take: one that stopped and rolled again makes
    another picture.
    """

    take: int
    by: str
    rolling: frozenset[tuple[str, int]]


@dataclass(frozen=True, slots=True)
class _Selection:
    who: str
    picture: Picture
    devices: frozenset[str]
    ends_at: float


class Selections:
    """The selections of a house.

    Attributes:
        picture: gives a take that runs; None: it does not run.
        called: gives what people call a device.
    """

    def __init__(self, clock: Clock, log: Log, chance: Stream) -> None:
        self.picture: Callable[[int], Picture | None] = lambda number: None
        self.called: Callable[[str], str] = str
        self._clock = clock
        self._log = log
        self._chance = chance
        self._kept: OrderedDict[str, _Selection] = OrderedDict()  # by the word

    def check(self, person: Person, ask: Ask) -> None:
        """The gate's question: was this person shown what it ends? Raises RefusedError, code "confirm"."""
        picture = self._needed_for(person, ask)
        if picture is None or self._covers(person, ask, picture):
            return
        if ask.inlet.startswith("scene"):
            raise RefusedError(
                f"A scene does not end take {picture.take}: {picture.by} rolled it.",
                remedy=f"End it by hand: stagectl cut {picture.take}",
                code="confirm",
            )
        raise RefusedError(f"{picture.by} rolled take {picture.take}.", remedy="Ask once more.", code="confirm")

    def select(self, person: Person, asks: Sequence[Ask]) -> RefusedError:
        """The refusal that shows what these asks of one wish end; its `word` makes the same wish pass."""
        picture = self.picture(asks[0].take or 0)
        assert picture is not None
        devices = frozenset(ask.target for ask in asks)
        word = self._word(person, picture, devices)
        names = [self.called(device) for device in dict.fromkeys(ask.target for ask in asks)]
        more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
        again = "The picture is another one now. " if asks[0].confirm else ""
        return RefusedError(
            f"{again}{picture.by} rolled take {picture.take}. This ends it on {', '.join(names[:SHOWN])}{more}.",
            remedy=f"If you mean it, ask again within {LIFE_S:.0f} s with the word {word}.",
            code="confirm",
            word=word,
        )

    def _needed_for(self, person: Person, ask: Ask) -> Picture | None:
        """The picture that must have been shown; None: nothing need be."""
        if person.shows is None or ask.take is None or Flags.ENDS_TAKE not in ask.verb.flags():
            return None
        picture = self.picture(ask.take)
        return None if picture is None or picture.by == person.name else picture

    def _covers(self, person: Person, ask: Ask, picture: Picture) -> bool:
        one = self._kept.get(ask.confirm)
        return (
            one is not None
            and not ask.inlet.startswith("scene")
            and one.who == person.name
            and one.picture == picture
            and ask.target in one.devices
            and self._clock.now() < one.ends_at
        )

    def _word(self, person: Person, picture: Picture, devices: frozenset[str]) -> str:
        """The word of this selection: the one that lives already, prolonged, or a new one, which is written down."""
        now = self._clock.now()
        fresh = _Selection(person.name, picture, devices, now + LIFE_S)
        for word, one in self._kept.items():
            if one.ends_at > now and (one.who, one.picture, one.devices) == (fresh.who, picture, devices):
                self._kept[word] = fresh
                return word
        word = "".join(self._chance.choices(SIGNS, k=LETTERS))
        self._kept[word] = fresh
        while len(self._kept) > KEPT:
            self._kept.popitem(last=False)
        self._log.write(
            "access",
            person.name,
            what="selected",
            source=person.source,
            take=picture.take,
            devices=sorted(devices),
            rolling=sorted(recorder for recorder, _ in picture.rolling),
        )
        return word

"""Who holds the desk? One person at a time; the others read, roll, mark, and end their own take.

Nobody holds it as installed, and then nothing is guarded. Who wants it asks for it by name; if the holder does not
answer for half a minute, who asked may take it. Losing a page or a link never gives it away, and ends nothing.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any, Final, Protocol

from stagectl.control.access import Person, allowed
from stagectl.control.selections import Selections
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ask
from stagectl.model.world import Clock, Stream

ANSWER_S: Final = 30.0
FREE: Final = frozenset({"roll", "mark", "good", "note", "slate", "call", "alarm", "hold", "answer", "guest", "stay"})


class Log(Protocol):
    """The chronicle, as far as writing goes."""

    def write(self, kind: str, who: str, **data: Any) -> int: ...


class Desk:
    """The desk of a house.

    Attributes:
        holder: a person's name; empty: nobody.
        asker: who has asked for it; empty: nobody.
        owner: gives who rolled a take, by its number; empty if nobody here.
        selections: what its people were shown before they end another's take.
    """

    def __init__(self, clock: Clock, log: Log, chance: Stream) -> None:
        self.holder = ""
        self.asker = ""
        self.owner: Callable[[int], str] = lambda number: ""
        self._asked_at = 0.0
        self.selections = Selections(clock, log, chance)
        self._clock = clock
        self._log = log

    def admit(self, person: Person, words: Collection[str], take: int | None = None) -> None:
        """Let an act pass that needs the desk, or say who holds it.

        Args:
            person: who asks.
            words: of the act; one of `FREE` among them needs no desk.
            take: the take it would end; one's own needs no desk.

        Raises:
            RefusedError: code "held".
        """
        if not self.holder or person.name == self.holder or not FREE.isdisjoint(words):
            return
        if take is not None and self.owner(take) == person.name:
            return
        raise RefusedError(f"{self.holder} holds the desk.", remedy="Ask for it: stagectl hold ask", code="held")

    def sure(self, person: Person, ask: Ask) -> None:
        """Let an act pass that ends no other's take, or whose end was shown. Raises RefusedError, code "confirm"."""
        self.selections.check(person, ask)

    def plain(self) -> dict[str, Any]:
        """As JSON holds it; `free_s`: seconds until who asked may take it, null if nobody asked."""
        return {"holder": self.holder, "asker": self.asker, "free_s": self._left() if self.asker else None}

    def say(self) -> str:
        """One sentence."""
        if not self.holder:
            return "Nobody holds the desk."
        if not self.asker:
            return f"{self.holder} holds the desk."
        left = self._left()
        how = f"may take it in {left:.0f} s" if left else "may take it"
        return f"{self.holder} holds the desk; {self.asker} asks for it and {how}."

    # -- acts -----------------------------------------------------------------------------------------------------

    def take(self, person: Person) -> None:
        """Hold it from now on: nobody does, or its holder has not answered in time. Raises RefusedError, "held"."""
        allowed(person, ("hold",))
        if self.holder == person.name:
            return
        if self.holder:
            if self.asker != person.name:
                raise RefusedError(
                    f"{self.holder} holds the desk.", remedy="Ask for it first: stagectl hold ask", code="held"
                )
            if left := self._left():
                raise RefusedError(
                    f"{self.holder} has {left:.0f} s more to answer.", remedy="Then: stagectl hold", code="held"
                )
        self._change(person.name, person, "taken" if self.holder else "held")

    def ask(self, person: Person) -> None:
        """Ask the holder for it. Asking again does not begin the wait anew. Raises RefusedError."""
        allowed(person, ("hold",))
        if not self.holder:
            raise RefusedError("Nobody holds the desk.", remedy="Take it: stagectl hold", code="desk")
        if self.holder == person.name:
            raise RefusedError("You hold the desk.", code="desk")
        if self.asker and self.asker != person.name and self._left():
            raise RefusedError(f"{self.asker} has asked for it already.", remedy="Ask again in a while.", code="held")
        if self.asker != person.name:
            self.asker, self._asked_at = person.name, self._clock.now()
            self._log.write("desk", person.name, what="asked", holder=self.holder)

    def give(self, person: Person, to: str) -> None:
        """Hand it over, or to nobody with an empty name. Raises RefusedError: somebody else holds it."""
        self._mine(person)
        self._change(to, person, "given")

    def keep(self, person: Person) -> None:
        """Answer "not now" to who asks. Raises RefusedError: somebody else holds it."""
        self._mine(person)
        if self.asker:
            self._log.write("desk", person.name, what="kept", holder=self.holder, asker=self.asker)
            self.asker = ""

    def restore(self, records: Iterable[Mapping[str, Any]]) -> None:
        """From the journal's records of kind "desk", oldest first: who held it when the daemon ended holds it still."""
        for data in records:
            self.holder = str(data.get("holder", ""))

    def _mine(self, person: Person) -> None:
        allowed(person, ("hold",))
        if self.holder != person.name:
            raise RefusedError(f"{self.holder or 'Nobody'} holds the desk, not {person.name}.", code="held")

    def _change(self, holder: str, by: Person, what: str) -> None:
        before, self.holder, self.asker = self.holder, holder, ""
        self._log.write("desk", by.name, what=what, holder=holder, before=before)

    def _left(self) -> float:
        return max(0.0, self._asked_at + ANSWER_S - self._clock.now())

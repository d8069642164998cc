"""How do I add a box? What a driver author writes: a codec (bytes) and a driver (meaning), both pure.

The kit owns the only loop: it connects, looks, polls, beats, pairs replies, ages values and reconnects
(`stagectl.driverkit.box`). A codec or driver knows no clock, socket, task or retry. Both are made anew for each
connection, so their state is the state of one conversation.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Generic, Protocol, TypeVar

from stagectl.model.board import BoardWriter
from stagectl.model.capabilities.base import Capability
from stagectl.model.verbs import Verb

R = TypeVar("R")  # the driver's requests: frozen dataclasses, comparable
R_contra = TypeVar("R_contra", contravariant=True)
E_co = TypeVar("E_co", covariant=True)  # the codec's events
E_contra = TypeVar("E_contra", contravariant=True)


class Codec(Protocol[R_contra, E_co]):
    """Bytes in, events out; requests in, bytes out. Holds its own limits."""

    def feed(self, data: bytes) -> Sequence[E_co]:
        """Return the events that `data` completes; any split of a stream gives the same events.

        Raises:
            ProtocolError: a limit is passed. The codec is spent; the kit closes the link.
        """

    def gap(self) -> Sequence[E_co]:
        """The line was silent for the driver's `gap_s`: return what silence completes or drops."""

    def encode(self, request: R_contra) -> bytes:
        """Write a request. Raises ValueError: a CR, LF or the like in a field would smuggle in a second command."""


@dataclass(frozen=True, slots=True)
class Look:
    """Points that are asked for again and again.

    Attributes:
        names: point names or templates ("slot.{slot}.left").
        every_s: how often; a value older than max(2 looks, 3 s) is shown as stale.
    """

    names: tuple[str, ...]
    every_s: float


@dataclass(frozen=True, slots=True)
class Reply(Generic[R]):
    """An event answered the oldest open request.

    Attributes:
        no: the box said no, in its own words with a human sentence; empty: it said yes.
        then: further read-only requests that follow from the answer, such as the next page of a list.
        rows: rows of a list ("clips"), for `stagectl.driverkit.box.Box.list_rows`.
    """

    no: str = ""
    then: Sequence[R] = ()
    rows: tuple[Mapping[str, Any], ...] = ()


class Driver(Protocol[R, E_contra]):
    """Which wire word is which point, and which verb is which request.

    Class variables:
        capability: the kind of box.
        looks: what the kit polls. Points in no look are kept by notices: as fresh as their link.
        window: requests in flight at most; a roll or a cut may pass it.
        reply_s: a reply later than this ends the link: a lost one would shift all later ones.
        beat_s: how often `beat` is called; 0: never.
        gap_s: silence after which `Codec.gap` is called; 0: never.
    """

    capability: ClassVar[Capability]
    looks: ClassVar[tuple[Look, ...]]
    window: ClassVar[int]
    reply_s: ClassVar[float]
    beat_s: ClassVar[float]
    gap_s: ClassVar[float]

    def look(self, names: Collection[str] | None) -> Sequence[R]:
        """Requests that only read.

        None: all there is (identity, every point, subscription to notices), asked once after connecting.
        Else: what refreshes these points (concrete names); ("clips",) asks for the list of that name.
        """

    def ask(self, verbs: Sequence[Verb]) -> Sequence[R]:
        """Translate acts; one request each in order, or fewer that carry several (a salvo).

        Raises:
            RefusedError: this box can't do that, with a sentence.
        """

    def hear(self, event: E_contra, board: BoardWriter, awaiting: R | None) -> Reply[R] | None:
        """Put what the event says on the board; return a Reply if it answers `awaiting`, the oldest open request.

        An event that answers nothing (a notice, noise) returns None. An "ok" alone sets no point; an echo that
        states a value does. Raises ProtocolError: the conversation is out of step.
        """

    def beat(self, now_s: float) -> Sequence[R]:
        """Keep-alive, renewals, dead-man: every `beat_s`; never anything that was not asked before."""

    def reads(self, request: R) -> bool:
        """Is this request declared to change nothing in the box? Before adoption only such requests are sent."""


@dataclass(frozen=True)
class BoxKind:
    """What an entry point of the group `stagectl.drivers` names: one kind of box that can be driven.

    Attributes:
        name: the word in the site file's `box:`, such as "text-deck".
        port: TCP port if the site names none.
        make: a driver for one connection, from the site's options. Raises ValueError: a sentence about an option.
        codec: a codec for one connection.
        options: option names it takes, with what each means.
    """

    name: str
    capability: Capability
    port: int
    make: Callable[[Mapping[str, str]], Driver[Any, Any]]
    codec: Callable[[Mapping[str, str]], Codec[Any, Any]]
    options: Mapping[str, str]
    about: str = ""

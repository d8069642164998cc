"""What is done when the whole daemon stood still? It is said, written down, and a driver that does it is left alone."""

from collections import deque
from typing import TYPE_CHECKING, Final

from stagectl.control.devices import Devices
from stagectl.driverkit.lag import Stall
from stagectl.model.world import Handle
from stagectl.shoot import wording

if TYPE_CHECKING:
    from stagectl.shoot.house import House

PART: Final = "loop"
TOLD_S: Final = 60.0  # the alarm stands so long after the last stall
LONG_S: Final = 4.0  # a driver that holds everything up for so long is left alone at once; the watchdog ends us at 10 s
OFTEN: Final = 3  # ...or so often
WITHIN_S: Final = 60.0


class Stalls:
    """Hears of each stall of the loop once it is over."""

    def __init__(self, house: "House", devices: Devices) -> None:
        self._house = house
        self._devices = devices
        self._clock = house.world.clock
        self._by: dict[str, deque[float]] = {}
        self._over: Handle | None = None

    def stalled(self, stall: Stall) -> None:
        """The loop stood still."""
        culprit = stall.culprit
        device = culprit.device if culprit is not None else ""
        place = culprit.place if culprit is not None else ""
        called = self._house.called(device) if device else ""
        say = wording.stalled(for_s=stall.seconds, called=called, place=place)
        task = culprit.task if culprit is not None else ""
        self._house.chronicle.write(
            "daemon", "", what="stall", seconds=round(stall.seconds, 2), device=device, place=place, task=task
        )
        self._house.trouble[PART] = say
        if self._over is not None:
            self._over.cancel()
        self._over = self._clock.later(self._clock.now() + TOLD_S, self._well)
        if device and self._too_much(device, stall.seconds):
            why = f"its driver held up everything for {stall.seconds:.1f} s, in {place}"
            self._devices.leave_alone(device, why)

    def _too_much(self, device: str, seconds: float) -> bool:
        times = self._by.setdefault(device, deque(maxlen=OFTEN))
        now = self._clock.now()
        times.append(now)
        return seconds >= LONG_S or (len(times) == OFTEN and now - times[0] < WITHIN_S)

    def _well(self) -> None:
        self._over = None
        self._house.trouble.pop(PART, None)

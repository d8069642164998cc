"""Does the cue light box's driver keep what drivers promise?"""

from cue_light_box import BOX, GREEN, LABEL, RED
from cue_light_simulator import CueLightBox

from stagectl.driverkit.conformance import Act, Fault, Hand, Report, check
from stagectl.model.verbs import Set


async def conformance() -> Report:
    async with CueLightBox() as box:
        return await check(
            BOX,
            *box.address,
            acts=[
                Act(Set(RED, True), undo=Set(RED, False)),
                Act(Set(LABEL, "Stage right"), undo=Set(LABEL, "Stage left")),
                Act(Set(LABEL, "a name that is far too long for such a little window"), refused=True),
            ],
            hand=Hand(lambda: box.press("green"), shows=GREEN.is_(True), undo=lambda: box.press("green")),
            faults=[
                Fault("mute", lambda: setattr(box, "mute", True), lambda: setattr(box, "mute", False)),
                Fault("stuck", lambda: setattr(box, "stuck", True), lambda: setattr(box, "stuck", False)),
            ],
        )


async def test_the_driver_keeps_what_drivers_promise() -> None:
    (await conformance()).demand()

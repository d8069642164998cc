"""What can be asked of the playback? How it stands, to play a take, and to end that."""

from stagectl.inlets.http.acting import answered
from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.models import PlayBody
from stagectl.shoot.house import Wish
from stagectl.shoot.playback.part import Playback


async def playback(call: Call) -> Answer:
    """What is played back, for whom, and what is still to be put back."""
    return Answer(call.door.house.playback.plain())


async def play(call: Call) -> Answer:
    """Play a take back; a short form of the verb."""
    args = call.body_as(PlayBody).model_dump(exclude_defaults=True)
    return await answered(call, Wish(call.person, "http", Playback.name, "play", args, call.key))


async def stop(call: Call) -> Answer:
    """End the playback and put back what was there; a short form of the verb."""
    return await answered(call, Wish(call.person, "http", Playback.name, "stop", {}, call.key))

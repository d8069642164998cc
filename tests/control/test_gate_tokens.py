"""What do tokens of machines, guests and hooks open, for how long, and what is written down of their making?

Source: own construction, from the table of roles in the security model and the limits in `stagectl/control/tokens.py`.
"""

from collections.abc import Awaitable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stagectl.control.access import Pass, Role, allowed
from stagectl.control.people import FILE as ACCOUNTS
from stagectl.control.tokens import LOGINS, MOST
from stagectl.model.errors import RefusedError
from tests.control.test_gate import TOMAS, Hall

ROLLS: dict[str, Any] = {"verb": "roll", "args": {"on": "iso"}}


@pytest.fixture
async def house(tmp_path: Path) -> Hall:
    """A house with accounts."""
    made = Hall(tmp_path / "data")
    await made.has(tomas=Role.ENGINEER, ines=Role.OPERATOR)
    return made


def written(hall: Hall, what: str) -> list[dict[str, Any]]:
    return [data for kind, who, data in hall.paper.records if (kind, who, data["what"]) == ("access", "tomas", what)]


async def refused(made: Awaitable[object]) -> str:
    with pytest.raises(RefusedError) as no:
        await made
    return no.value.code


async def test_a_guest_does_its_acts_for_some_hours_and_sees_nothing(house: Hall) -> None:
    token, secret = await house.gate.guest(TOMAS, "presenter", verbs=["mark", "call"], hours=2)
    guest, _ = house.gate.bearer(secret.reveal())
    assert (guest.name, guest.role, guest.sees, guest.fresh) == ("presenter", Role.OPERATOR, False, False)
    allowed(guest, ("mark",))
    for words in (("roll",), ("cut",), ("route", "set")):
        with pytest.raises(RefusedError, match="may not"):
            allowed(guest, words, "iso-1")
    assert written(house, "guest") == [
        {"what": "guest", "token": token.id, "name": "presenter", "verbs": ["call", "mark"]}
    ]
    house.clock.advance(2 * 3600 - 1)
    house.gate.bearer(secret.reveal())
    house.clock.advance(2)
    with pytest.raises(RefusedError, match="has ended"):
        house.gate.bearer(secret.reveal())


async def test_a_guest_is_never_let_in_for_more_than_a_day_or_for_nothing(house: Hall) -> None:
    token, _ = await house.gate.guest(TOMAS, "presenter", verbs=["call"], hours=100)
    assert token.until - token.born == timedelta(hours=24)
    assert await refused(house.gate.guest(TOMAS, "client", verbs=[], hours=1)) == "argument"
    assert house.gate.tokens.named("client", "guest") is None


async def test_a_hook_does_its_one_thing_and_lets_nobody_in(house: Hall) -> None:
    token, secret = await house.gate.hook(TOMAS, "red-button", ROLLS, words=["roll"], days=400)
    assert token.until - token.born == timedelta(days=90)
    assert written(house, "hook") == [{"what": "hook", "token": token.id, "name": "red-button", "does": ROLLS}]
    with pytest.raises(RefusedError, match="not known"):
        house.gate.bearer(secret.reveal())
    for gate in (house.gate, house.started_again()):
        hook = gate.hooked(secret.reveal())
        assert hook is not None
        assert (hook.id, hook.does, hook.shows.sees) == (token.id, ROLLS, False)
        presser = gate.person(hook)
        allowed(presser, ("roll",), "iso-1")
        with pytest.raises(RefusedError):
            allowed(presser, ("cut",), "iso-1")
    await house.gate.revoke(TOMAS, token)
    assert written(house, "revoked") == [{"what": "revoked", "token": token.id, "name": "red-button"}]
    assert house.gate.hooked(secret.reveal()) is None
    assert house.started_again().hooked(secret.reveal()) is None


async def test_what_lets_somebody_in_is_no_hook(house: Hall) -> None:
    _, machine = await house.gate.machine(TOMAS, "pedal", Role.OPERATOR, verbs=["roll"], devices=["iso-1"], days=1)
    _, guest = await house.gate.guest(TOMAS, "presenter", verbs=["call"], hours=1)
    _, login = await house.login("ines")
    assert [house.gate.hooked(one.reveal()) for one in (machine, guest, login)] == [None] * 3
    assert house.gate.hooked("") is None


async def test_no_two_of_them_have_one_name(house: Hall) -> None:
    await house.gate.machine(TOMAS, "pedal", Role.OPERATOR, verbs=["roll"], devices=["iso-1"], days=1)
    await house.gate.hook(TOMAS, "red-button", ROLLS, words=["roll"], days=1)
    for name in ("ines", "pedal"):
        again = house.gate.machine(TOMAS, name, Role.OPERATOR, verbs=["roll"], devices=["iso-1"], days=1)
        assert await refused(again) == "argument"
        assert await refused(house.gate.guest(TOMAS, name, verbs=["call"], hours=1)) == "argument"
    for name in ("ines", "pedal", "red-button"):
        assert await refused(house.gate.hook(TOMAS, name, ROLLS, words=["roll"], days=1)) == "argument"
    assert len(house.gate.tokens.all()) == 2


async def test_each_lives_as_long_as_was_asked_for(house: Hall) -> None:
    machine, _ = await house.gate.machine(TOMAS, "screen", Role.VIEWER, verbs=[], devices=[], days=3)
    hook, _ = await house.gate.hook(TOMAS, "red-button", ROLLS, words=["roll"], days=0.5)
    guest, _ = await house.gate.guest(TOMAS, "presenter", verbs=["call"], hours=2)
    asked = [timedelta(days=3), timedelta(hours=12), timedelta(hours=2)]
    assert [token.until - token.born for token in (machine, hook, guest)] == asked


async def test_a_screen_needs_nothing_listed_and_acts_on_nothing(house: Hall) -> None:
    token, secret = await house.gate.machine(TOMAS, "screen", Role.VIEWER, verbs=[], devices=[], days=1)
    told = {"what": "token", "token": token.id, "name": "screen", "role": "viewer"}
    assert written(house, "token") == [told]
    screen, _ = house.gate.bearer(secret.reveal())
    assert screen.sees
    with pytest.raises(RefusedError, match="may only watch"):
        allowed(screen, ("roll",), "iso-1")


async def test_tokens_are_bounded_and_those_that_are_over_make_room(house: Hall) -> None:
    tokens = house.gate.tokens
    for number in range(MOST):
        tokens._keep(one_without_a_file(house, number))
    assert await refused(house.gate.guest(TOMAS, "presenter", verbs=["call"], hours=1)) == "tokens"
    house.clock.advance(3601)
    await house.gate.guest(TOMAS, "presenter", verbs=["call"], hours=1)
    assert len(tokens.all()) == 1


async def test_of_too_many_logins_of_one_person_the_oldest_ends(house: Hall) -> None:
    assert (LOGINS, MOST) == (20, 1000), "as SECURITY.md says"
    made = [await house.login("ines") for _ in range(LOGINS)]
    _, other = await house.login("tomas")
    await house.login("ines")
    assert [token.shows.ended for token, _ in made] == [True] + [False] * (LOGINS - 1)
    with pytest.raises(RefusedError):
        house.gate.bearer(made[0][1].reveal())
    house.gate.bearer(other.reveal())


def one_without_a_file(house: Hall, number: int) -> Any:
    """A guest's token as it was read from the file: a thousand writes would take long."""
    wall = house.clock.wall()
    entry = {
        "id": f"t{number}",
        "name": f"guest-{number}",
        "kind": "guest",
        "role": "operator",
        "verbs": ["call"],
        "devices": None,
        "by": "tomas",
        "made": wall.isoformat(),
        "until": (wall + timedelta(hours=1)).isoformat(),
        "digest": f"{number:064x}",
        "sees": False,
        "login": False,
    }
    return house.gate.tokens._read(entry)


async def test_a_spoilt_file_of_accounts_is_told_until_it_is_mended(house: Hall) -> None:
    told: list[tuple[str, str | None]] = []
    house.gate.trouble = lambda part, text: told.append((part, text))
    file = house.folder / ACCOUNTS
    whole = file.read_bytes()
    file.write_bytes(b"{")
    house.gate.look()
    file.write_bytes(whole)
    house.gate.look()
    (part, text), mended = told
    assert (part, mended) == ("people", ("people", None))
    assert text is not None
    assert text.endswith("The accounts of before are kept.")
    assert house.gate.guarded


def test_a_pass_that_ends_twice_tells_once() -> None:
    told: list[str] = []
    shows = Pass(on_end=[lambda: told.append("ended")])
    shows.end()
    shows.end()
    assert (told, shows.ended) == (["ended"], True)

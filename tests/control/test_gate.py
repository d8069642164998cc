"""Who is let in, for how long, and what is written of those who are not? Gate, tokens, passwords and guesses.

Source: own construction; scrypt's numbers and the length of passwords after common guidance (from memory).
"""

import asyncio
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from stagectl.control import passwords, people
from stagectl.control.access import FRESH_S, Pass, Person, Role, allowed
from stagectl.control.gate import LINES_AT_ONCE, LINES_PER_S, LOOK_S, Gate
from stagectl.control.guesses import FORGET_S, FREE, LONGEST_S, Guesses
from stagectl.control.people import Account
from stagectl.control.tokens import FILE, LOGIN_S, Token
from stagectl.driverkit.real import real_world
from stagectl.model.errors import RefusedError, SiteError
from stagectl.model.secret import Secret
from stagectl.model.world import World
from tests.control.disk import ManualClock
from tests.driverkit.memory import virtual

PASSWORD = "four canvas otters yawn"
TOMAS = Person("tomas", Role.ENGINEER)


class Paper:
    """A chronicle in memory."""

    def __init__(self) -> None:
        self.records: list[tuple[str, str, dict[str, Any]]] = []

    def write(self, kind: str, who: str, **data: Any) -> int:
        self.records.append((kind, who, data))
        return len(self.records)


class Quick:
    """Checks passwords at once, by a rule of its own: scrypt takes half a second, and has its own test."""

    def __init__(self) -> None:
        self.checked = 0
        self.hold = asyncio.Event()
        self.hold.set()

    async def run(self, name: str, do: Callable[..., Any], password: Secret, kept: str) -> bool:
        assert do is passwords.matches
        self.checked += 1
        await self.hold.wait()
        return kept == f"kept:{password.reveal()}"


class Hall:
    def __init__(self, folder: Path) -> None:
        self.clock = ManualClock()
        self.quick = Quick()
        self.folder = folder
        self.world: World = replace(real_world(folder), clock=self.clock, offload=self.quick)
        self.paper = Paper()
        self.gate = Gate(self.world, self.paper)

    async def has(self, **roles: Role) -> None:
        """Accounts, all with the same password; read as the daemon reads them."""
        made = {name: Account(name, role, f"kept:{PASSWORD}") for name, role in roles.items()}
        await people.write(self.world.storage, made)
        self.gate.look()

    async def login(self, name: str, password: str = PASSWORD) -> tuple[Token, Secret]:
        return await self.gate.login(name, Secret(password), "127.0.0.1 http")

    def started_again(self) -> Gate:
        gate = Gate(self.world, self.paper)
        gate.load()
        return gate

    @property
    def refusals(self) -> list[dict[str, Any]]:
        return [data for kind, _, data in self.paper.records if kind == "access" and data["what"] == "refused"]


@pytest.fixture
async def hall(tmp_path: Path) -> Hall:
    return Hall(tmp_path / "data")


# -- accounts ---------------------------------------------------------------------------------------------------------


async def test_as_installed_there_is_no_account_and_nobody_needs_a_token(hall: Hall) -> None:
    hall.gate.load()
    hall.gate.look()
    assert not hall.gate.guarded
    with pytest.raises(RefusedError, match="no accounts"):
        await hall.login("ines")


async def test_the_first_account_closes_the_house(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    assert hall.gate.guarded
    assert hall.started_again().guarded


async def test_a_file_of_accounts_that_is_taken_away_opens_nothing(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    (hall.folder / people.FILE).unlink()
    hall.gate.look()
    assert hall.gate.guarded
    with pytest.raises(RefusedError, match="wrong"):
        await hall.login("ines")


@pytest.mark.parametrize("name", [people.FILE, FILE])
async def test_a_file_that_others_can_read_stops_the_start(hall: Hall, name: str) -> None:
    await hall.has(ines=Role.OPERATOR)
    await hall.login("ines")
    assert (hall.folder / name).stat().st_mode & 0o777 == 0o600
    (hall.folder / name).chmod(0o640)
    with pytest.raises(SiteError, match=f"{name} in the data folder can be read by others .*chmod 600"):
        hall.started_again()


@pytest.mark.parametrize("name", [people.FILE, FILE])
@pytest.mark.parametrize(
    "content", [b"", b"{}", b"[1]", b'{"v":1}', b'{"v":1,"people":{"A B":{}},"tokens":[{}]}', b"\xff"]
)
async def test_a_file_that_is_not_ours_stops_the_start(hall: Hall, name: str, content: bytes) -> None:
    await hall.has(ines=Role.OPERATOR)
    await hall.login("ines")
    (hall.folder / name).write_bytes(content)
    with pytest.raises(SiteError, match="is not what stagectl wrote"):
        hall.started_again()


@virtual
async def test_the_file_of_accounts_is_looked_at_for_ever_whatever_a_look_comes_to(tmp_path: Path) -> None:
    hall, looks = Hall(tmp_path), 0

    def slips() -> None:
        nonlocal looks
        looks += 1
        if looks == 1:
            raise ValueError("a slip of ours")

    hall.gate.look = slips  # type: ignore[method-assign]
    hall.gate.start()
    await asyncio.sleep(3.5 * LOOK_S)
    assert looks == 3
    await hall.gate.stop()
    await asyncio.sleep(3.5 * LOOK_S)
    assert looks == 3


async def test_a_file_spoilt_while_running_keeps_the_accounts_of_before(hall: Hall) -> None:
    told: dict[str, str | None] = {}
    hall.gate.trouble = told.__setitem__
    await hall.has(ines=Role.OPERATOR)
    (hall.folder / people.FILE).write_bytes(b"{")
    hall.gate.look()
    assert "kept" in str(told["people"])
    assert (await hall.login("ines"))[0].name == "ines"


# -- passwords --------------------------------------------------------------------------------------------------------


def test_a_password_is_kept_as_scrypt_with_the_numbers_of_the_reference() -> None:
    kept = passwords.hashed(Secret(PASSWORD), b"0123456789abcdef")
    assert kept.startswith("scrypt$131072$8$1$")
    assert PASSWORD not in kept
    assert passwords.matches(Secret(PASSWORD), kept)
    assert not passwords.matches(Secret(PASSWORD + " "), kept)


def test_a_password_of_64_signs_and_more_is_taken() -> None:
    """Source: ASVS 5.0 row 6.2.9 asks for 64."""
    words = "four canvas otters yawn at six copper lanterns and one slow river of tea"
    for length in (64, len(words)):
        passwords.check(Secret(words[:length]), "ines")
    assert passwords.LONGEST == 256


async def test_a_password_does_not_run_out(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    hall.clock.advance(20 * 365 * 86400.0)
    hall.gate.look()
    assert (await hall.login("ines"))[0].name == "ines"


@pytest.mark.parametrize(
    "kept",
    [
        *("", "scrypt$1", "md5$1$1$1$AA==$AA==", "scrypt$99999999$8$1$AA==$AA==", "scrypt$3$8$1$AA==$AA=="),
        *("scrypt$-2$8$1$AA==$AA==", "scrypt$16$-8$1$AA==$AA==", "scrypt$16$8$-1$AA==$AA==", "scrypt$16$0$1$AA==$AA=="),
    ],
)
def test_what_is_no_kept_password_is_never_matched(kept: str) -> None:
    assert not passwords.matches(Secret(PASSWORD), kept)


@pytest.mark.parametrize(
    "password",
    ["short", "elevenchars", "password1234", "PassWord1234", "aaaaaaaaaaaaaaaa", "ines-of-hallines-of-hall", "x" * 300],
)
def test_a_password_that_is_tried_first_is_not_taken(password: str) -> None:
    with pytest.raises(RefusedError) as refused:
        passwords.check(Secret(password), "ines-of-hall")
    assert password not in str(refused.value)


def test_a_password_of_four_words_is_taken() -> None:
    passwords.check(Secret(PASSWORD), "ines")


def test_a_secret_shows_nothing_of_itself() -> None:
    secret = Secret("canary")
    assert "canary" not in f"{secret} {secret!r} {[secret]} {secret:>9} {json.dumps({'a': str(secret)})}"
    with pytest.raises(TypeError):
        json.dumps(secret)


# -- tokens -----------------------------------------------------------------------------------------------------------


async def test_a_login_is_known_by_its_token_until_twelve_hours_have_passed(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    token, secret = await hall.login("ines")
    person, _ = hall.gate.bearer(secret.reveal())
    assert (person.name, person.role) == ("ines", Role.OPERATOR)
    hall.clock.advance(LOGIN_S - 1)
    hall.gate.bearer(secret.reveal())
    ended: list[str] = []
    token.shows.on_end.append(lambda: ended.append("told"))
    hall.clock.advance(2)
    with pytest.raises(RefusedError, match="has ended"):
        hall.gate.bearer(secret.reveal())
    hall.gate.look()
    assert ended == ["told"]


async def test_a_clock_that_is_set_neither_ends_nor_prolongs_a_token(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    _, secret = await hall.login("ines")
    hall.clock.wall_at += timedelta(days=2)
    hall.gate.bearer(secret.reveal())
    hall.clock.wall_at -= timedelta(days=4)
    hall.clock.advance(LOGIN_S + 1)
    with pytest.raises(RefusedError):
        hall.gate.bearer(secret.reveal())


async def test_a_clock_set_back_while_the_daemon_was_away_prolongs_nothing(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    _, secret = await hall.login("ines")
    hall.clock.wall_at -= timedelta(days=30)
    gate = hall.started_again()
    assert gate.bearer(secret.reveal())[0].name == "ines"
    hall.clock.at += LOGIN_S + 1
    with pytest.raises(RefusedError):
        gate.bearer(secret.reveal())


async def test_a_login_is_fresh_for_a_quarter_of_an_hour_and_never_after_a_restart(hall: Hall) -> None:
    await hall.has(tomas=Role.ENGINEER)
    _, secret = await hall.login("tomas")
    assert hall.gate.bearer(secret.reveal())[0].fresh
    assert not hall.started_again().bearer(secret.reveal())[0].fresh, "what was proved to another process is not known"
    hall.clock.at += FRESH_S
    assert not hall.gate.bearer(secret.reveal())[0].fresh
    _, machine = await hall.gate.machine(TOMAS, "screen", Role.VIEWER, verbs=[], devices=[], days=1)
    assert not hall.gate.bearer(machine.reveal())[0].fresh


async def test_nobody_is_called_as_somebody_else_is(hall: Hall) -> None:
    """A guest with the name of who holds the desk would pass for them."""
    await hall.has(tomas=Role.ENGINEER, ines=Role.OPERATOR)
    _, pedal = await hall.gate.machine(TOMAS, "pedal", Role.VIEWER, verbs=[], devices=[], days=1)
    for name in ("ines", "pedal"):
        with pytest.raises(RefusedError, match="somebody else"):
            await hall.gate.guest(TOMAS, name, verbs=["roll"], hours=1)
    await hall.has(tomas=Role.ENGINEER, pedal=Role.OPERATOR)
    with pytest.raises(RefusedError):
        hall.gate.bearer(pedal.reveal())


async def test_a_token_lives_over_a_restart_and_its_text_is_in_no_file(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    _, secret = await hall.login("ines")
    assert hall.started_again().bearer(secret.reveal())[0].name == "ines"
    kept = b"".join(path.read_bytes() for path in hall.folder.iterdir())
    assert secret.reveal().encode() not in kept
    assert PASSWORD.encode() not in kept.replace(b"kept:" + PASSWORD.encode(), b"")
    assert secret.reveal() not in repr(hall.paper.records)


async def test_a_revoked_token_is_dead_at_once_and_after_a_restart(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR, tomas=Role.ENGINEER)
    token, secret = await hall.login("ines")
    person, _ = hall.gate.bearer(secret.reveal())
    await hall.gate.revoke(TOMAS, token)
    with pytest.raises(RefusedError, match="ended"):
        hall.gate.bearer(secret.reveal())
    with pytest.raises(RefusedError, match="has ended"):
        allowed(person, ("roll",))  # who came in before is let through no more
    with pytest.raises(RefusedError):
        hall.started_again().bearer(secret.reveal())


@pytest.mark.parametrize("change", ["gone", "role", "password"])
async def test_an_account_that_goes_or_changes_ends_its_logins(hall: Hall, change: str) -> None:
    await hall.has(ines=Role.OPERATOR, tomas=Role.ENGINEER)
    token, secret = await hall.login("ines")
    _, other = await hall.login("tomas")
    accounts = dict(hall.gate.accounts or {})
    if change == "gone":
        del accounts["ines"]
    elif change == "role":
        accounts["ines"] = replace(accounts["ines"], role=Role.VIEWER)
    else:
        accounts["ines"] = replace(accounts["ines"], kept="kept:another one of them")
    await people.write(hall.world.storage, accounts)
    hall.gate.look()
    assert token.shows.ended
    with pytest.raises(RefusedError):
        hall.gate.bearer(secret.reveal())
    assert hall.gate.bearer(other.reveal())[0].role is Role.ENGINEER


async def test_a_machine_is_never_an_engineer_and_names_what_it_may(hall: Hall) -> None:
    await hall.has(tomas=Role.ENGINEER)
    for role, verbs, devices in (
        (Role.ENGINEER, ["roll"], ["iso-1"]),
        (Role.OPERATOR, [], ["iso-1"]),
        (Role.OPERATOR, ["roll"], []),
    ):
        with pytest.raises(RefusedError):
            await hall.gate.machine(TOMAS, "pedal", role, verbs=verbs, devices=devices, days=90)
    token, secret = await hall.gate.machine(TOMAS, "pedal", Role.OPERATOR, verbs=["roll"], devices=["iso-1"], days=400)
    assert token.until - token.born <= timedelta(days=90)
    pedal, _ = hall.gate.bearer(secret.reveal())
    allowed(pedal, ("roll",), "iso-1")
    for words, target in ((("roll",), "iso-2"), (("cut",), "iso-1"), (("set",), "iso-1"), (("mark",), "")):
        with pytest.raises(RefusedError):
            allowed(pedal, words, target)
    assert hall.gate.principal("pedal", {}).name == "pedal"


async def test_with_accounts_a_broker_lets_in_machines_with_a_token_alone(hall: Hall) -> None:
    assert hall.gate.principal("anybody", {}).role is Role.OPERATOR
    await hall.has(ines=Role.OPERATOR)
    for name in ("anybody", "ines"):
        with pytest.raises(RefusedError, match="No machine token"):
            hall.gate.principal(name, {"ines": Role.OPERATOR})


async def test_a_token_that_the_disk_refuses_is_not_given(hall: Hall, monkeypatch: pytest.MonkeyPatch) -> None:
    await hall.has(ines=Role.OPERATOR)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(hall.world.storage, "rename", full)
    told: dict[str, str | None] = {}
    hall.gate.trouble = told.__setitem__
    hall.gate.load()
    with pytest.raises(OSError, match="No space"):
        await hall.login("ines")
    assert hall.gate.tokens.all() == []
    assert "No space" in str(told["tokens"])


# -- guesses ----------------------------------------------------------------------------------------------------------


async def test_ten_thousand_guesses_reach_the_hash_at_most_a_hundred_times(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    _, secret = await hall.login("ines")
    for number in range(10_000):
        with pytest.raises(RefusedError):
            await hall.login("ines" if number % 2 else f"nobody-{number}", f"guess {number:012d}")
        hall.clock.advance(0.06)  # 10 minutes in all
    assert hall.quick.checked <= 100
    assert hall.gate.bearer(secret.reveal())[0].name == "ines", "who is in stays in"
    assert len(hall.refusals) < 10_000
    assert sum(1 + one.get("more", 0) for one in hall.refusals) > 9_000


async def test_a_guesser_elsewhere_does_not_hold_up_the_one_who_knows(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    for _ in range(50):
        with pytest.raises(RefusedError):
            await hall.gate.login("ines", Secret("wrong wrong wrong"), "10.0.5.99 http")
    assert (await hall.login("ines"))[0].name == "ines"


async def test_tries_at_the_same_moment_count_one_by_one(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    hall.quick.hold.clear()
    tries = [asyncio.ensure_future(hall.login("ines", "wrong wrong wrong")) for _ in range(20)]
    await asyncio.sleep(0)
    hall.quick.hold.set()
    results = await asyncio.gather(*tries, return_exceptions=True)
    assert all(isinstance(one, RefusedError) for one in results)
    assert hall.quick.checked == 1


def test_the_delay_grows_has_an_end_and_is_forgotten() -> None:
    clock = ManualClock()
    guesses = Guesses(clock)
    seen = []
    for _ in range(FREE):
        guesses.begin("here", "ines")
        seen.append(round(guesses.wait_s("here", "ines")))
        clock.advance(seen[-1])
    assert seen == [1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert max(seen) <= LONGEST_S
    assert guesses.wait_s("here", "tomas") == 0
    clock.advance(FORGET_S + 1)
    guesses.begin("here", "ines")
    assert round(guesses.wait_s("here", "ines")) == 1


async def test_what_is_typed_as_a_name_is_not_written_down(hall: Hall) -> None:
    await hall.has(ines=Role.OPERATOR)
    with pytest.raises(RefusedError):
        await hall.login(PASSWORD, "oops wrong field")
    with pytest.raises(RefusedError):
        await hall.login("ines", "another canary here")
    told = repr(hall.paper.records)
    assert PASSWORD not in told
    assert "canary" not in told
    assert [(who, data["code"]) for kind, who, data in hall.paper.records if kind == "access"] == [
        ("somebody", "login"),
        ("ines", "login"),
    ]


async def test_a_flood_of_refusals_is_written_as_far_as_the_journal_bears_and_counted(hall: Hall) -> None:
    for _ in range(int(LINES_AT_ONCE) + 7):
        hall.gate.refuse("somebody", "192.0.2.9 http", "x" * 999, "y" * 999, "token")
    assert len(hall.refusals) == LINES_AT_ONCE
    assert {(len(one["act"]), len(one["why"])) for one in hall.refusals} == {(100, 300)}
    assert not any("more" in one for one in hall.refusals)
    hall.clock.advance(1 / LINES_PER_S)
    hall.gate.refuse("somebody", "192.0.2.9 http", "roll", "no token", "token")
    assert len(hall.refusals) == LINES_AT_ONCE + 1
    assert hall.refusals[-1]["more"] == 7
    hall.clock.advance(60)
    hall.gate.refuse("somebody", "192.0.2.9 http", "roll", "no token", "token")
    assert "more" not in hall.refusals[-1]


def test_nothing_at_all_may_nothing() -> None:
    empty = Person("", Role.ENGINEER, Pass(frozenset(), frozenset()))
    with pytest.raises(RefusedError):
        allowed(empty, ("roll",))


@pytest.mark.parametrize(
    "password",
    [
        *("passwordpassword", "Password123456", "P@ssw0rd!2026", "summer2026!!!!", "qwertyuiop123", "1q2w3e4r5t6y7u"),
        *(
            "abcdefghijkl",
            "zyxwvutsrqpo",
            "098765432109",
            "qazwsxedcrfv",
            "iloveyou12345",
            "studio-recorder",
            "!!!!!!!!!!!!",
        ),
        *("letmeinletmein", "trustno1trustno1", "welcome-welcome", "changeme2026", "correcthorsebatterystaple"),
        *("asdfghjkl;12", "lovelovelovelove", "dragonmonkey99", "administrator1", "121212121212"),
    ],
)
def test_what_guessers_build_first_is_not_taken(password: str) -> None:
    with pytest.raises(RefusedError):
        passwords.check(Secret(password), "ines")


@pytest.mark.parametrize(
    "password",
    ["four canvas otters yawn", "KLEINE-UHR-im-turm", "x7#Qw9!zLp2&Vt", "summer otter canvas", "müde Möwen über Malmö"],
)
def test_what_is_long_and_not_built_so_is_taken_whatever_signs_it_has(password: str) -> None:
    passwords.check(Secret(password), "ines")


def test_the_rule_covers_more_than_three_thousand_of_those_that_are_tried_first() -> None:
    """Source: ASVS 5.0 row 6.2.4 asks for the first 3000 that the rule of length lets through."""
    words = [word for word in passwords.WORDS if len(word) >= 4]
    tails = [
        *(str(year) for year in range(1960, 2030)),
        "123",
        "1234",
        "12345",
        "123456",
        "1",
        "12",
        "!",
        "!!",
        "2026!",
    ]
    tried = {word + tail for word in words for tail in tails} | {one + two for one in words for two in words}
    long = [one for one in sorted(tried) if passwords.SHORTEST <= len(one) <= passwords.LONGEST]
    assert len(long) > 3000
    for one in long[:: len(long) // 3001]:
        with pytest.raises(RefusedError):
            passwords.check(Secret(one), "ines")

"""Does a scene do what it says, stop where it must, and harm nothing when it fails?"""

import asyncio
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.model.capabilities.mixer import SEND_LEVEL, STRIP_LEVEL, STRIP_MUTED
from stagectl.model.capabilities.recorder import TIMECODE, TRANSPORT, Cue, Roll, Transport
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended, Set
from stagectl.shoot.house import House, Wish
from stagectl.shoot.paths import SHOWS
from stagectl.shoot.scenerun import Run, Stand
from stagectl.shoot.scenes import KEEP, MAX_AT_ONCE, Scenes
from tests.driverkit.memory import VirtualClock, virtual
from tests.shoot.hall import DEMO, house, shipped

INES = Person("ines", Role.OPERATOR)
TOMAS = Person("tomas", Role.ENGINEER)
ADA = Person("ada", Role.VIEWER)


def scenes_of(folder: Path, **files: str) -> tuple[House, Scenes]:
    own = house(VirtualClock(asyncio.get_running_loop()))
    for name, text in files.items():
        (folder / f"{name}.yaml").write_text(text)
    scenes = Scenes(own, folder)
    scenes.load()
    assert scenes.errors == []
    return own, scenes


def hall_scenes() -> tuple[House, Scenes]:
    own = shipped(VirtualClock(asyncio.get_running_loop()))
    scenes = Scenes(own, DEMO)
    scenes.load()
    return own, scenes


async def until(true: Callable[[], bool], within_s: float = 30.0) -> None:
    """Let virtual time go on until something is so."""
    for _ in range(int(within_s / 0.01)):
        if true():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("what the story waits for did not come")


async def ended(run: Run) -> Run:
    assert await run.wait(1000)
    return run


def stands(run: Run) -> list[str]:
    return [str(result.stand) for result in run.results.values()]


def sent(own: House) -> int:
    return sum(len(box.sent) for box in own.boxes.values())


def keep_rolling(own: House) -> asyncio.Task[None]:
    """Recorders tell their timecode, as they do."""

    async def tell() -> None:
        while True:
            await asyncio.sleep(0.1)
            for box in own.boxes.values():
                if box.values.get(TRANSPORT.name) in (Transport.RECORDING, Transport.PLAYING):
                    box._tell(TIMECODE.name)
                    box._tell(TRANSPORT.name)

    return asyncio.get_running_loop().create_task(tell())


# -- the shipped scenes ------------------------------------------------------------------------------------------------


@virtual
async def test_roll_all_and_cut_make_one_take_and_end_it() -> None:
    own, scenes = hall_scenes()
    keep_rolling(own)
    run = await ended(scenes.start("roll-all", INES, {"name": "Warm-up"}))
    assert (run.ended, run.count, run.why) == (Ended.VERIFIED, "1 of 1", "")
    assert own.takes.open is not None
    assert (own.takes.open.name, len(own.takes.open.rolling)) == ("Warm-up", 5)
    plan = scenes.dry_run("cut")
    assert plan.ends == [1]
    assert plan.say == "cut would make 5 changes. It ends take 1."
    run = await ended(scenes.start("Cut", INES))
    assert run.ended is Ended.VERIFIED
    assert own.takes.open is None
    run = await ended(scenes.start("cut", INES))
    assert (run.ended, run.why) == (Ended.FAILED, "No take runs")


@virtual
async def test_a_recorder_that_does_not_roll_is_named_and_the_others_roll_on() -> None:
    own, scenes = hall_scenes()
    keep_rolling(own)
    own.boxes["iso-2"].deaf = True
    run = await ended(scenes.start("roll-all", INES))
    assert run.ended is Ended.FAILED
    assert run.why.startswith("4 of 5; Rec 2: seen otherwise: transport is stopped")
    assert own.takes.open is not None
    assert own.takes.open.rolling == ["iso-1", "iso-3", "iso-4", "mix-rec"]


@virtual
async def test_the_isos_get_their_cameras_and_the_safety_copy_is_left_alone_while_it_is_right() -> None:
    own, scenes = hall_scenes()
    own.boxes["hall"].has(OUTPUT_SOURCE.at(3), 9)
    run = await ended(scenes.start("route-isos", INES))
    assert (run.ended, stands(run)) == (Ended.VERIFIED, ["skipped", "passed"])
    assert [verb.say() for verb in own.boxes["hall"].sent] == ["set output 3 source to 3"]
    own.boxes["hall"].has(OUTPUT_SOURCE.at(1), 4)
    await asyncio.sleep(0.1)
    run = await ended(scenes.start("route-isos", INES))
    assert run.ended is Ended.FAILED
    assert "Rec 1 is the safety copy" in run.why
    assert (await ended(scenes.start("route-isos", TOMAS))).ended is Ended.VERIFIED


@virtual
async def test_program_only_takes_one_tie_line_and_rolls_one_recorder() -> None:
    own, scenes = hall_scenes()
    keep_rolling(own)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(15), 9)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(16), 9)
    run = await ended(scenes.start("program-only", INES, {"picture": "hands"}))
    assert (run.ended, run.why) == (Ended.VERIFIED, "")
    assert [verb.say() for verb in own.boxes["hall"].sent] == ["set output 15 source to 3"]
    assert own.takes.open is not None
    assert own.takes.open.rolling == ["mix-rec"]


@virtual
async def test_the_last_take_is_played_to_the_director_and_what_was_there_comes_back() -> None:
    own, scenes = hall_scenes()
    keep_rolling(own)
    deck, mixer, board = own.boxes["mix-rec"], own.boxes["mixer"], own.board
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 8)
    mixer.has(SEND_LEVEL.at(1, 4), -6.0)
    for scene in ("roll-all", "cut"):
        assert (await ended(scenes.start(scene, INES))).ended is Ended.VERIFIED
    start = own.takes.takes[1].lanes["mix-rec"][-1].start
    assert start

    run = scenes.start("play-last-take", INES)
    await until(lambda: run.results["2"].stand is Stand.UNDER_WAY)
    assert [verb for verb in deck.sent if isinstance(verb, Cue)] == [Cue(start)]
    assert board.get("paths", SHOWS.at("director")).value == "play-5"
    assert board.get("mixer", SEND_LEVEL.at(15, 4)).value == 0.0
    assert board.get("mixer", SEND_LEVEL.at(1, 4)).value == "off"
    deck.has(TRANSPORT, Transport.STOPPED)  # the end of the clip
    await ended(run)
    assert (run.ended, run.why) == (Ended.VERIFIED, "")
    assert board.get("paths", SHOWS.at("director")).value == "titles"
    assert board.get("mixer", SEND_LEVEL.at(15, 4)).value == "off"
    assert board.get("mixer", SEND_LEVEL.at(1, 4)).value == -6.0


@virtual
async def test_a_rolling_recorder_is_not_played() -> None:
    own, scenes = hall_scenes()
    keep_rolling(own)
    await ended(scenes.start("roll-all", INES))
    run = await ended(scenes.start("play-last-take", INES))
    assert run.ended is Ended.FAILED
    assert (run.why, run.remedy) == ("Take 1 runs, and there is none before it", "Cut it first: stagectl cut 1")
    assert own.takes.open is not None


# -- when a step fails -------------------------------------------------------------------------------------------------

FAILS = """
scene: Fails
steps:
  - {set: {paths: {iso-2 shows: hands}, mixer: {strip 1 level: -20 dB, strip 5 muted: yes}}}
  - {do: takes roll}
  - {check: mixer strip 1 muted is yes}
  - {do: mixer recall, with: {memory: evening}}
if it fails: FAILING
"""


@virtual
async def test_a_step_that_fails_stops_here_and_the_decks_roll_on(tmp_path: Path) -> None:
    own, scenes = scenes_of(tmp_path, fails=FAILS.replace("FAILING", "stop here"))
    keep_rolling(own)
    run = await ended(scenes.start("fails", INES))
    assert run.ended is Ended.FAILED
    assert run.why == "Box mixer strip 1 muted is no, wanted: is yes"
    assert stands(run) == ["passed", "passed", "failed", "not attempted"]
    assert own.takes.open is not None
    assert own.takes.open.rolling == ["iso-1", "iso-2"]
    assert own.board.get("mixer", STRIP_LEVEL.at(1)).value == -20.0


@virtual
async def test_put_back_undoes_settings_and_never_a_roll(tmp_path: Path) -> None:
    own, scenes = scenes_of(tmp_path, fails=FAILS.replace("FAILING", "put back"))
    keep_rolling(own)
    run = await ended(scenes.start("fails", INES))
    assert run.ended is Ended.FAILED
    assert run.back == [
        "mixer strip 5 muted is no again",
        "mixer strip 1 level is -10 dB again",
        "paths iso-2 shows is stage-right again",
    ]
    assert own.takes.open is not None
    assert len(own.takes.open.rolling) == 2
    assert own.board.get("mixer", STRIP_LEVEL.at(1)).value == -10.0
    assert own.board.get("paths", SHOWS.at("iso-2")).value == "stage-right"


@virtual
async def test_put_back_leaves_a_strangers_route_alone(tmp_path: Path) -> None:
    text = """
scene: Stranger
steps:
  - {set: {paths: {iso-2 shows: hands}, mixer: {strip 5 muted: yes}}}
  - {wait for: takes running is yes, within: 2 s}
if it fails: put back
"""
    own, scenes = scenes_of(tmp_path, stranger=text)
    run = scenes.start("stranger", INES)
    await until(lambda: run.results["2"].stand is Stand.UNDER_WAY)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(2), 7)
    await ended(run)
    assert run.back == ["paths iso-2 shows was changed since and is left alone", "mixer strip 5 muted is no again"]
    assert own.board.get("paths", SHOWS.at("iso-2")).value == "hall input 7"


@virtual
async def test_put_back_leaves_a_tie_line_to_whoever_shares_it_now(tmp_path: Path) -> None:
    text = """
scene: Tie
steps:
  - {set: {paths: {program shows: wide}}}
  - {wait for: takes running is yes, within: 2 s}
if it fails: put back
"""
    own, scenes = scenes_of(tmp_path, tie=text)
    for output in (1, 2, 3):
        own.boxes["gallery"].has(OUTPUT_SOURCE.at(output), 8)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(15), 9)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(16), 9)
    await asyncio.sleep(0.1)
    run = scenes.start("tie", INES)
    await until(lambda: run.results["2"].stand is Stand.UNDER_WAY)
    await own.submit(Wish(TOMAS, "test", "paths", "set", {"point": "mix-rec.shows", "value": "wide"}))
    await ended(run)
    assert own.board.get("paths", SHOWS.at("program")).value == "titles"
    assert own.board.get("paths", SHOWS.at("mix-rec")).value == "wide"


@virtual
async def test_go_on_does_the_rest_and_tells_the_failure(tmp_path: Path) -> None:
    own, scenes = scenes_of(tmp_path, fails=FAILS.replace("FAILING", "go on"))
    keep_rolling(own)
    own.boxes["mixer"].refuses = "no such memory"
    run = await ended(scenes.start("fails", INES))
    assert run.ended is Ended.FAILED
    assert stands(run) == ["failed", "passed", "failed", "failed"]


@virtual
async def test_otherwise_go_on_is_no_failure_and_otherwise_text_is_the_remedy(tmp_path: Path) -> None:
    text = """
scene: Otherwise
steps:
  - {check: mixer strip 1 muted is yes, otherwise: go on}
  - {check: every recorder transport is playing, otherwise: "Play {called}."}
"""
    own, scenes = scenes_of(tmp_path, otherwise=text)
    own.boxes["iso-1"].has(TRANSPORT, Transport.PLAYING)
    run = await ended(scenes.start("otherwise", INES))
    assert stands(run) == ["failed", "failed"]
    assert (run.why, run.remedy) == ("Box iso-2 transport is stopped, wanted: is playing", "Play Box iso-2.")


@virtual
async def test_a_deadline_passes_and_says_what_was_not_seen(tmp_path: Path) -> None:
    text = "scene: Wait\nsteps:\n  - {wait for: every recorder transport is playing, within: 3 s}\n"
    own, scenes = scenes_of(tmp_path, wait=text)
    begun = own.world.clock.now()
    own.boxes["iso-1"].has(TRANSPORT, Transport.PLAYING)
    run = await ended(scenes.start("wait", INES))
    assert run.ended is Ended.FAILED
    assert run.why == "Box iso-2 transport is stopped, wanted: is playing"
    assert 2.99 < own.world.clock.now() - begun < 4


@virtual
async def test_what_is_not_known_is_unconfirmed_and_not_failed(tmp_path: Path) -> None:
    text = "scene: Wait\nsteps:\n  - {check: iso-1 transport is stopped}\n  - {pause: 1 s}\n"
    own, scenes = scenes_of(tmp_path, wait=text)
    own.boxes["iso-1"].writer.lost()
    run = await ended(scenes.start("wait", INES))
    assert (run.ended, stands(run)) == (Ended.UNCONFIRMED, ["failed", "not attempted"])
    assert run.why == "Box iso-1 transport is stopped (stale), wanted: is stopped"


@virtual
async def test_a_scene_that_did_not_end_as_it_says_has_failed(tmp_path: Path) -> None:
    text = "scene: End\nsteps:\n  - {set: {mixer: {strip 5 muted: yes}}}\nends with: takes running is yes\n"
    text += "if it fails: put back\n"
    own, scenes = scenes_of(tmp_path, end=text)
    run = await ended(scenes.start("end", INES))
    assert (run.ended, run.why) == (Ended.FAILED, "takes running is no, wanted: is yes")
    assert own.board.get("mixer", STRIP_MUTED.at(5)).value is False


@virtual
async def test_a_set_of_which_one_row_can_not_be_is_refused_whole(tmp_path: Path) -> None:
    text = "scene: Half\nsteps:\n  - {set: {mixer: {strip 5 muted: yes}, paths: {director shows: wide}}}\n"
    own, scenes = scenes_of(tmp_path, half=text)
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(1), 1)
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(2), 2)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(15), 2)
    own.boxes["hall"].has(OUTPUT_SOURCE.at(16), 3)
    run = await ended(scenes.start("half", INES))
    assert run.ended is Ended.FAILED
    assert run.why.startswith("No tie-line is free to bring wide to director: hall 15 to gallery 1 is held by program")
    assert sent(own) == 0


@virtual
async def test_branches_run_side_by_side_and_all_come_to_their_end(tmp_path: Path) -> None:
    text = """
scene: Branches
steps:
  - together:
      - check: mixer strip 1 muted is yes
      - [{pause: 2 s}, {set: {mixer: {strip 5 muted: yes}}}]
      - pause: 2 s
  - pause: 1 s
"""
    own, scenes = scenes_of(tmp_path, branches=text)
    begun = own.world.clock.now()
    run = await ended(scenes.start("branches", INES))
    assert stands(run) == ["failed", "failed", "passed", "passed", "passed", "passed", "not attempted"]
    assert own.world.clock.now() - begun < 3
    assert own.board.get("mixer", STRIP_MUTED.at(5)).value is True


# -- planned, doubled, stopped, asked ----------------------------------------------------------------------------------


@virtual
async def test_a_dry_run_lists_everything_and_sends_nothing() -> None:
    own, scenes = hall_scenes()
    own.boxes["gallery"].has(OUTPUT_SOURCE.at(3), 8)
    keep_rolling(own)
    await ended(scenes.start("roll-all", INES))
    before, records = sent(own), len(own.chronicle.recent)
    plan = scenes.dry_run("program-only", {"picture": "hands"}, INES)
    told = [(one.device, one.point, one.seen, one.wanted, one.moot) for one in plan.changes if one.point]
    assert ("paths", "director.shows", "titles", "hands", False) in told
    assert ("gallery", "output.1.source", "1", "1", True) in told
    assert [one.say for one in plan.changes if one.device == "mix-rec"] == ["roll name T001_mix-rec"]
    assert plan.changes[-1].moot
    assert not plan.loud
    plan = scenes.dry_run("play-last-take", {}, INES)
    assert plan.rows[0].say == "playback play recorder mix-rec station director"
    assert plan.rows[0].refused.startswith("Take 1 runs, and there is none before it.")
    assert (sent(own), len(own.chronicle.recent)) == (before, records)
    refused = [one.refused for one in scenes.dry_run("roll-all", {}, ADA).changes]
    assert refused == ["ada may only watch."] * 5


@virtual
async def test_a_doubled_id_is_one_run_and_the_same_id_for_another_scene_is_refused() -> None:
    own, scenes = hall_scenes()
    keep_rolling(own)
    first = scenes.start("roll-all", INES, {"name": "Once"}, "press-1")
    assert scenes.start("roll-all", INES, {"name": "Once"}, "press-1") is first
    await ended(first)
    assert scenes.start("roll-all", INES, {"name": "Once"}, "press-1") is first
    assert len([verb for verb in own.boxes["iso-1"].sent if isinstance(verb, Roll)]) == 1
    with pytest.raises(RefusedError) as no:
        scenes.start("cut", INES, {}, "press-1")
    assert no.value.code == "id-reused"
    assert first.results["1"].groups[0].id == "press-1.1"


@virtual
async def test_a_run_keeps_its_own_copy_when_the_file_is_edited(tmp_path: Path) -> None:
    text = "scene: Copy\nsteps:\n  - {pause: 5 s}\n  - {set: {mixer: {strip 5 muted: yes}}}\n"
    own, scenes = scenes_of(tmp_path, copy=text)
    run = scenes.start("copy", INES)
    await asyncio.sleep(1)
    (tmp_path / "copy.yaml").write_text(text.replace("strip 5 muted: yes", "strip 1 muted: yes"))
    scenes.load()
    await ended(run)
    assert own.board.get("mixer", STRIP_MUTED.at(5)).value is True
    assert own.board.get("mixer", STRIP_MUTED.at(1)).value is False
    await ended(scenes.start("copy", INES))
    assert own.board.get("mixer", STRIP_MUTED.at(1)).value is True


@virtual
async def test_a_broken_edit_leaves_the_scene_out_and_the_run_goes_on(tmp_path: Path) -> None:
    _, scenes = scenes_of(tmp_path, copy="scene: Copy\nsteps:\n  - {pause: 5 s}\n")
    run = scenes.start("copy", INES)
    (tmp_path / "copy.yaml").write_text("scene: Copy\nsteps: [{paus: 5 s}]\n")
    scenes.load()
    assert (await ended(run)).ended is Ended.VERIFIED
    with pytest.raises(RefusedError, match="can't be read"):
        scenes.start("copy", INES)


@virtual
async def test_a_stop_ends_the_waiting_and_no_take(tmp_path: Path) -> None:
    text = (
        "scene: Long\nsteps:\n  - {do: takes roll}\n  - {pause: 10 min}\n  - {do: takes cut, with: {take: running}}\n"
    )
    own, scenes = scenes_of(tmp_path, long=text)
    keep_rolling(own)
    run = scenes.start("long", INES, {}, "long-1")
    await until(lambda: run.results["2"].stand is Stand.UNDER_WAY)
    with pytest.raises(RefusedError, match="ada may only watch"):
        scenes.stop("long-1", ADA)
    scenes.stop("long-1", TOMAS)
    await ended(run)
    assert (run.ended, run.why) == (Ended.FAILED, "stopped by tomas")
    assert stands(run) == ["passed", "failed", "not attempted"]
    assert own.takes.open is not None


@virtual
async def test_a_stop_puts_nothing_back(tmp_path: Path) -> None:
    text = """
scene: Long
steps:
  - {set: {mixer: {strip 5 muted: yes}}}
  - {together: [{check: takes running is yes}, {pause: 10 min}]}
if it fails: put back
"""
    own, scenes = scenes_of(tmp_path, long=text)
    run = scenes.start("long", INES, {}, "long-2")
    await until(lambda: run.results["2.1"].stand is Stand.FAILED)
    scenes.stop("long-2", INES)
    await ended(run)
    assert (run.ended, run.back) == (Ended.FAILED, [])
    assert own.board.get("mixer", STRIP_MUTED.at(5)).value is True


@virtual
async def test_a_question_waits_for_the_one_it_asks(tmp_path: Path) -> None:
    text = """
scene: Asks
steps:
  - {ask: Stand clear?, of: engineer, within: 1 min}
  - {set: {mixer: {strip 5 muted: yes}}}
"""
    own, scenes = scenes_of(tmp_path, asks=text)
    run = scenes.start("asks", INES, {}, "ask-1")
    await until(lambda: bool(run.results["1"].question))
    with pytest.raises(RefusedError, match="It asks engineer, not ines"):
        scenes.answer("ask-1", True, INES)
    scenes.answer("ask-1", True, TOMAS)
    assert (await ended(run)).ended is Ended.VERIFIED
    run = scenes.start("asks", INES, {}, "ask-2")
    await until(lambda: bool(run.results["1"].question))
    scenes.answer("ask-2", False, TOMAS)
    assert (await ended(run)).why == '"Stand clear?" was answered no'
    run = await ended(scenes.start("asks", INES, {}, "ask-3"))
    assert (run.ended, run.why) == (Ended.FAILED, "nobody answered within 60 s")
    with pytest.raises(RefusedError, match="asks nothing"):
        scenes.answer("ask-3", True, TOMAS)
    assert sent(own) == 1


@virtual
async def test_who_may_start_what(tmp_path: Path) -> None:
    _, scenes = scenes_of(tmp_path, mine="scene: Mine\nfor: engineer\nsteps:\n  - {pause: 1 s}\n")
    with pytest.raises(RefusedError, match="Mine is for the role engineer; ines may not start it"):
        scenes.start("mine", INES)
    assert (await ended(scenes.start("mine", TOMAS))).ended is Ended.VERIFIED
    with pytest.raises(RefusedError, match='There is no scene "min"') as no:
        scenes.start("min", TOMAS)
    assert no.value.remedy == "Perhaps you mean mine."


@virtual
async def test_runs_are_bounded_and_the_oldest_are_forgotten(tmp_path: Path) -> None:
    _, scenes = scenes_of(tmp_path, short="scene: Short\nsteps:\n  - {pause: 1 s}\n")
    runs = [scenes.start("short", INES) for _ in range(MAX_AT_ONCE)]
    with pytest.raises(RefusedError, match="8 scenes run already"):
        scenes.start("short", INES)
    for run in runs:
        await ended(run)
    for _ in range(KEEP):
        await ended(scenes.start("short", INES))
    assert len(scenes.runs) == KEEP
    assert runs[0].id not in scenes.runs
    assert not scenes._tasks


@virtual
async def test_every_step_and_the_end_are_written_down(tmp_path: Path) -> None:
    own, scenes = scenes_of(tmp_path, note="scene: Note\nsteps:\n  - {set: {mixer: {strip 5 muted: yes}}}\n")
    await ended(scenes.start("note", INES, {}, "note-1"))
    records = [(entry.kind, entry.data) for entry in own.chronicle.recent]
    assert [data["what"] for kind, data in records if kind == "scene"] == ["start", "step", "end"]
    commands: list[Mapping[str, Any]] = [data for kind, data in records if kind == "command"]
    assert [(data["id"], data["inlet"]) for data in commands] == [("note-1.1-1", "scene:note")]


@virtual
async def test_the_daemon_leaves_in_mid_run_and_nothing_more_is_sent(tmp_path: Path) -> None:
    text = (
        "scene: Long\nsteps:\n  - {do: takes roll}\n  - {pause: 10 min}\n  - {do: takes cut, with: {take: running}}\n"
    )
    own, scenes = scenes_of(tmp_path, long=text)
    keep_rolling(own)
    run = scenes.start("long", INES)
    await until(lambda: run.results["2"].stand is Stand.UNDER_WAY)
    before = sent(own)
    await scenes.close()
    assert (run.ended, run.why) == (Ended.UNCONFIRMED, "stagectl left it")
    assert sent(own) == before
    assert not any(isinstance(verb, Set) for box in own.boxes.values() for verb in box.sent)

"""Does the simulated text deck record, spill, play and tell as a recorder does? Stories, from memory."""

from __future__ import annotations

import pytest

from tests.simulators.deck_bench import DeckBench, values


def test_ok_is_accepted_and_rolling_comes_later_to_every_subscriber() -> None:
    deck = DeckBench()
    deck.join(1, "transport")
    deck.join(2, "transport")
    deck.join(3)
    deck.wait(10)
    assert deck.ask("record: name: Take 1") == "200 ok\r\n"
    assert deck.status == "preview"
    deck.wait(0.39)
    assert (deck.said(1), deck.said(2)) == ("", "")
    deck.wait(0.01)
    for client in (1, 2):
        notice = deck.said(client)
        assert notice.startswith("508 transport info:\r\nstatus: record\r\n")
        assert values(notice)["display timecode"] == "10:00:10:10", "house time at the moment it rolled"
    assert deck.said(3) == ""
    assert deck.history() == [("roll accepted", "wire:1"), ("rolling", "wire:1")]


def test_a_take_ends_with_the_frames_it_ran() -> None:
    deck = DeckBench()
    deck.join()
    deck.ask("record: name: Take 1")
    deck.wait(10.4)
    deck.ask("stop", 1)
    assert deck.status == "record"
    deck.wait(0.1)
    assert deck.status == "preview"
    assert deck.clips() == [("Take 1", 1, 252)], "10.1 s at 25: frame 10 up to, not with, frame 262"


def test_the_clip_in_progress_is_listed_with_its_length_so_far() -> None:
    deck = DeckBench()
    deck.join()
    deck.ask("record: name: Take 1")
    deck.wait(4.4)
    assert "1: Take 1 10:00:00:10 00:00:04:00\r\n" in deck.ask("clips get")
    assert "1: Take 1 VC3-SQ 1080p25 00:00:04:00\r\n" in deck.ask("disk list")
    assert deck.value("transport info", "clip id") == "1"


def test_some_firmware_lists_a_clip_only_after_the_stop() -> None:
    deck = DeckBench(lists_late=True)
    deck.join()
    deck.ask("record: name: Take 1")
    deck.wait(4)
    assert deck.value("clips count", "clip count") == "0"
    deck.ask("stop")
    deck.wait(1)
    assert deck.value("clips count", "clip count") == "1"


def test_a_name_in_use_gets_a_number() -> None:
    deck = DeckBench(slots=[{"clips": [{"name": "Take 1"}]}])
    deck.join()
    for _ in range(2):
        deck.ask("record: name: TAKE 1")
        deck.wait(2)
        deck.ask("stop")
        deck.wait(1)
    assert [name for name, _, _ in deck.clips()] == ["Take 1", "TAKE 1_1", "TAKE 1_2"]


def test_a_roll_without_a_name_counts_from_the_prefix() -> None:
    deck = DeckBench(record_prefix="Hands")
    deck.join()
    deck.ask("record")
    deck.wait(1)
    assert deck.clips()[0][0] == "Hands_0001"


@pytest.mark.parametrize("name", ["a/b", "a?", ".hidden", "tab\there"])
def test_a_name_no_file_can_have_is_refused(name: str) -> None:
    deck = DeckBench()
    deck.join()
    assert deck.ask(f"record:\r\nname: {name}\r\n") == "102 invalid value\r\n"


def test_time_left_falls_at_the_codecs_rate_while_it_rolls() -> None:
    deck = DeckBench(bytes_per_s=1e6, slots=[{"size_bytes": 1e9, "free_bytes": 100e6}])
    deck.join()
    assert deck.value("slot info", "recording time") == "100"
    deck.ask("record")
    deck.wait(30.4)
    assert values(deck.ask("slot info"))["recording time"] == "70"
    assert deck.value("slot info", "remaining size") == "70000000"


def test_a_full_medium_spills_to_the_other_and_the_take_goes_on() -> None:
    deck = DeckBench(bytes_per_s=1e6, slots=[{"size_bytes": 10e6}, {"size_bytes": 20e6}])
    deck.join(1, "transport")
    deck.ask("record: name: Long")
    deck.wait(15.4)
    assert deck.history()[-2:] == [("rolling", "wire:1"), ("spilled", "self")]
    assert deck.clips() == [("Long", 1, 250), ("Long", 2, 125)]
    assert [values(each).get("slot id") for each in deck.said().split("508 ")[1:]] == ["1", "2"]
    deck.wait(30)
    assert deck.status == "preview"
    assert deck.history()[-1] == ("stopped", "self"), "both full: the deck ends the take itself"
    assert deck.ask("record") == "104 disk full\r\n"


def test_less_than_a_second_of_room_is_a_full_medium() -> None:
    deck = DeckBench(bytes_per_s=1e6, slots=[{"free_bytes": 0.9e6}])
    deck.join()
    assert deck.ask("record") == "104 disk full\r\n"


def test_a_roll_with_a_full_first_medium_begins_on_the_second() -> None:
    deck = DeckBench(bytes_per_s=1e6, slots=[{"free_bytes": 0}, {}])
    deck.join()
    deck.ask("record: name: Take")
    deck.wait(2.4)
    assert deck.clips() == [("Take", 2, 50)]


def test_a_stop_before_it_rolls_calls_the_roll_off() -> None:
    deck = DeckBench()
    deck.join()
    deck.ask("record")
    deck.wait(0.2)
    assert deck.ask("stop") == "200 ok\r\n"
    deck.wait(5)
    assert deck.history() == [("roll accepted", "wire:1"), ("roll called off", "wire:1")]


def test_a_second_stop_changes_nothing_of_the_first() -> None:
    deck = DeckBench()
    deck.join(1)
    deck.join(2)
    deck.ask("record: name: Take")
    deck.wait(1.4)
    deck.ask("stop", 1)
    deck.wait(0.08)
    assert deck.ask("record spill", 2) == "150 invalid state\r\n", "it is about to stop"
    deck.ask("stop", 2)
    deck.wait(0.02)
    assert (deck.status, deck.history()[-1]) == ("preview", ("stopped", "wire:1"))


def test_a_long_name_is_cut_without_a_word() -> None:
    deck = DeckBench()
    deck.join()
    deck.ask(f"record: name: {'n' * 80}")
    deck.wait(1)
    assert deck.clips()[0][0] == "n" * 60


def test_record_spill_goes_on_at_once_on_the_other_medium() -> None:
    deck = DeckBench()
    deck.join()
    deck.ask("record: name: Long")
    deck.wait(2.4)
    assert deck.ask("record spill: slot id: 1") == "150 invalid state\r\n"
    assert deck.ask("record spill") == "200 ok\r\n"
    deck.wait(1)
    assert deck.clips() == [("Long", 1, 50), ("Long", 2, 25)]
    assert deck.value("transport info", "slot id") == "2"


def test_one_long_wait_and_many_short_ones_give_the_same_history() -> None:
    long, short = (DeckBench(bytes_per_s=1e6, slots=[{"size_bytes": 10e6}, {"size_bytes": 5e6}]) for _ in range(2))
    for deck in (long, short):
        deck.join()
        deck.ask("record: name: Long")
    long.wait(20)
    for _ in range(200):
        short.wait(0.1)
    assert long.deck.truth(20.0) == short.deck.truth(20.0)


def test_record_while_playing_and_play_while_recording_are_refused() -> None:
    deck = DeckBench(slots=[{"clips": [{"name": "A", "frames": 1000}]}])
    deck.join()
    deck.ask("play")
    assert deck.ask("record") == "150 invalid state\r\n"
    deck.ask("stop")
    deck.ask("record")
    deck.wait(1)
    for act in ("play", "goto: clip id: 1", "shuttle: speed: 100", "format: prepare: exFAT", "slot select: slot id: 1"):
        assert deck.ask(act) == "150 invalid state\r\n"
    assert deck.status == "record"


def test_playback_runs_through_the_clips_and_stops_at_the_end() -> None:
    clips = [{"name": "A", "start": "09:00:00:00", "frames": 50}, {"name": "B", "start": "11:00:00:00", "frames": 50}]
    deck = DeckBench(slots=[{"clips": clips}])
    deck.join(1, "transport")
    assert deck.ask("play").endswith("loop: false\r\ninput video format: 1080p25\r\ndynamic range: none\r\n\r\n")
    deck.wait(1)
    assert deck.value("transport info", "timecode") == "09:00:01:00"
    deck.wait(2)
    assert values(deck.said())["clip id"] == "2", "crossing into the next clip is worth a notice"
    assert deck.value("transport info", "timecode") == "11:00:01:00"
    deck.wait(5)
    assert deck.status == "stopped"
    assert deck.history()[-1] == ("stopped", "self")
    deck.ask("play: loop: true single clip: true speed: 100")
    deck.wait(5)
    assert (deck.status, deck.value("transport info", "clip id")) == ("play", "1")


def test_a_single_clip_ends_at_its_own_end_and_a_loop_runs_backwards_too() -> None:
    clips = [{"name": "A", "start": "09:00:00:00", "frames": 50}, {"name": "B", "start": "11:00:00:00", "frames": 50}]
    deck = DeckBench(slots=[{"clips": clips}])
    deck.join()
    deck.ask("play: single clip: true")
    deck.wait(5)
    assert (deck.status, deck.value("transport info", "timecode")) == ("stopped", "09:00:01:24")
    deck.ask("goto: clip id: 1")
    deck.ask("play: speed: -100 loop: true")
    deck.wait(1)
    assert (deck.status, deck.value("transport info", "clip id")) == ("rewind", "2")


def test_a_label_past_midnight_is_found_in_the_clip_that_crosses_it() -> None:
    deck = DeckBench(slots=[{"clips": [{"name": "Late", "start": "23:59:59:00", "frames": 100}]}])
    deck.join()
    assert deck.ask("goto: timecode: 00:00:01:00") == "200 ok\r\n"
    assert deck.value("transport info", "timecode") == "00:00:01:00"


def test_a_medium_pulled_while_it_plays_leaves_nothing_to_play() -> None:
    deck = DeckBench(slots=[{"clips": [{"name": "A", "frames": 50}]}])
    deck.join()
    deck.ask("play")
    deck.press("eject", slot=1)
    deck.wait(10)
    assert deck.history()[-1] == ("slot empty", "panel")
    assert (deck.status, deck.value("transport info", "clip id")) == ("preview", "none")


def test_goto_and_jog_move_the_head() -> None:
    clips = [{"name": "A", "start": "09:00:00:00", "frames": 50}, {"name": "B", "start": "11:00:00:00", "frames": 50}]
    deck = DeckBench(slots=[{"clips": clips}])
    deck.join()
    rows = [
        ("goto: clip id: 2", "11:00:00:00"),
        ("goto: clip id: -1", "09:00:00:00"),
        ("goto: clip id: end", "09:00:01:24"),
        ("jog: timecode: +00:00:00:02", "11:00:00:01"),
        ("goto: timecode: 09:00:01:00", "09:00:01:00"),
        ("jog: timecode: -00:00:00:05", "09:00:00:20"),
    ]
    for request, label in rows:
        assert deck.ask(request) == "200 ok\r\n"
        assert deck.value("transport info", "display timecode") == label
    deck.ask("shuttle: speed: -1000")
    assert deck.status == "shuttle"
    deck.wait(5)
    assert deck.value("transport info", "display timecode") == "09:00:00:00"


def test_decks_started_seconds_apart_line_up_by_their_labels() -> None:
    first, second = DeckBench(), DeckBench(roll_delay_s=2.4)
    for deck in (first, second):
        deck.join()
        deck.ask("record: name: Both")
        deck.wait(10)
    labels = [deck.ask("clips get").split("\r\n")[2].split(" ")[2] for deck in (first, second)]
    assert labels == ["10:00:00:10", "10:00:02:10"], "two seconds apart, told by labels alone (common practice)"
    assert first.value("transport info", "timecode") == second.value("transport info", "timecode")


def test_an_offset_and_a_free_running_clock_show_in_the_timecode() -> None:
    offset, free = DeckBench(offset_frames=-3), DeckBench(free_run_ppm=100)
    for deck in (offset, free):
        deck.join()
        deck.wait(2000)
    assert offset.value("transport info", "timecode") == "10:33:19:22"
    assert free.value("transport info", "timecode") == "10:33:20:05", "100 ppm of 2000 s is 5 frames"
    free.ask("configuration: timecode input: external")
    assert free.value("transport info", "timecode") == "10:33:20:00"


@pytest.mark.parametrize(
    ("options", "label"),
    [
        ({"video_format": "1080p50"}, "10:00:10:25"),
        ({"video_format": "1080i50"}, "10:00:10:12"),
        # Drop-frame labels run ahead 1 ppm: 36 ms after ten hours are 2 frames (SMPTE ST 12-1, from memory).
        ({"video_format": "1080p5994", "drop": True}, "10:00:10;31"),
    ],
)
def test_a_deck_at_another_rate_reads_the_same_time_of_day_in_its_own_frames(
    options: dict[str, object], label: str
) -> None:
    deck = DeckBench(**options)
    deck.join()
    deck.wait(10.5)
    assert deck.value("transport info", "timecode") == label


def test_timecode_and_slots_are_told_again_and_again_to_who_asked() -> None:
    deck = DeckBench(timecode_hz=4)
    deck.join(1, "display timecode")
    deck.join(2, "slot")
    deck.wait(1)
    assert deck.said(1).count("display timecode:\r\n") == 4
    deck.ask("record", 1)
    deck.wait(10.5)
    assert deck.said(2).count("502 slot info:") == 2, "every 5 s while it rolls"


def test_the_hand_on_the_panel_is_told_apart() -> None:
    deck = DeckBench()
    deck.join(1, "transport", "remote", "slot", "configuration")
    deck.press("record", name="By hand")
    deck.wait(1)
    assert "status: record" in deck.said()
    deck.press("stop")
    deck.wait(1)
    deck.press("remote", on=False)
    assert "510 remote info:\r\nenabled: false\r\n" in deck.said()
    assert deck.ask("remote: enable: true").startswith("200 ok\r\n510 remote info:\r\nenabled: true")
    deck.press("eject", slot=2)
    assert values(deck.said())["status"] == "empty"
    deck.press("insert", slot=2)
    deck.wait(1)
    assert deck.said().count("502 slot info:") == 2, "mounting, then mounted"
    assert [cause for _, cause in deck.history()[:4]] == ["panel", "panel", "panel", "panel"]
    assert deck.ask("configuration: audio input: XLR").startswith("200 ok\r\n511 configuration:")


def test_a_medium_pulled_or_gone_bad_ends_the_take() -> None:
    deck = DeckBench()
    deck.join()
    deck.ask("record")
    deck.wait(2)
    deck.press("damage", slot=1)
    assert deck.history()[-2:] == [("stopped", "panel"), ("slot error", "panel")]
    assert deck.ask("record") == "106 disk error\r\n"
    deck.press("eject", slot=1)
    assert deck.ask("record") == "105 no disk\r\n"


@pytest.mark.parametrize(
    ("act", "args", "words"),
    [
        ("dance", {}, "Known acts"),
        ("eject", {"slot": 7}, "1 to 2"),
        ("remote", {}, "true or false"),
        ("stop", {"now": True}, "takes no 'now'"),
        ("insert", {"slot": 1}, "Eject it first"),
        ("play", {}, "107 timeline empty"),
    ],
)
def test_a_panel_act_that_cannot_be_says_why(act: str, args: dict[str, object], words: str) -> None:
    deck = DeckBench()
    with pytest.raises(ValueError, match=words):
        deck.press(act, **args)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"roll_delai_s": 1}, "no option 'roll_delai_s'"),
        ({"codec": "tape"}, "'codec' must be one of"),
        ({"slots": [{}, {}, {}]}, "one or two slots"),
        ({"slots": [{"size": 1}]}, "no option 'size'"),
        ({"unsupported": ["dance"]}, "'dance'"),
    ],
)
def test_a_wrong_option_is_named(options: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        DeckBench(**options)

"""Does each fault switch of the simulated text deck do what its story says? Own construction."""

from __future__ import annotations

from tests.simulators.deck_bench import DeckBench, values


def rolling(**options: object) -> DeckBench:
    deck = DeckBench(**options)
    deck.join(1, "transport")
    deck.ask("record: name: Take")
    deck.wait(1)
    deck.said()
    return deck


def test_says_ok_and_never_rolls() -> None:
    deck = DeckBench()
    deck.join()
    deck.turn("never_roll")
    assert deck.ask("record") == "200 ok\r\n"
    deck.wait(60)
    assert (deck.status, deck.clips()) == ("preview", [])
    assert deck.history() == [("roll accepted", "wire:1")]


def test_rolls_late() -> None:
    deck = DeckBench()
    deck.join()
    deck.turn("roll_late", 3.0)
    deck.ask("record")
    deck.wait(2.99)
    assert deck.status == "preview"
    deck.wait(0.01)
    assert deck.status == "record"


def test_stops_by_itself() -> None:
    deck = rolling()
    deck.turn("stops_by_itself", 5.0)
    deck.wait(20)
    assert deck.clips() == [("Take", 1, 125)]
    assert deck.history()[-1] == ("stopped", "self")


def test_stops_by_itself_counts_from_the_roll_also_over_a_spill() -> None:
    deck = rolling()
    deck.wait(2)
    deck.ask("record spill")
    deck.turn("stops_by_itself", 5.0)
    deck.wait(2.4)
    assert deck.history()[-1] == ("stopped", "self")


def test_freezes_its_timecode_while_the_clip_grows() -> None:
    deck = rolling()
    deck.turn("freeze_timecode")
    labels = set()
    for _ in range(3):
        deck.wait(1)
        labels.add(deck.value("transport info", "timecode"))
    assert labels == {"10:00:01:00"}
    assert deck.clips()[0][2] == 90
    deck.turn("freeze_timecode", False)
    assert deck.value("transport info", "timecode") == "10:00:04:00"


def test_a_full_medium_ends_the_take_when_the_switch_is_turned_not_before() -> None:
    deck = rolling()
    deck.now_s = 9.0  # nobody called meanwhile
    deck.turn("medium_full")
    assert deck.clips() == [("Take", 1, 215)], "0.4 s to 9 s"
    assert deck.value("slot info", "recording time") == "0"
    assert deck.ask("record") == "104 disk full\r\n"


def test_remote_locked_off() -> None:
    deck = DeckBench()
    deck.join(1, "remote")
    deck.turn("remote_off")
    assert values(deck.said())["enabled"] == "false"
    assert deck.ask("record") == "111 remote control disabled\r\n"
    assert deck.ask("remote: enable: true") == "111 remote control disabled\r\n"
    deck.turn("remote_off", False)
    assert deck.ask("record").endswith("200 ok\r\n")


def test_no_input_refuses_a_roll_and_leaves_a_take_alone() -> None:
    deck = rolling()
    deck.turn("no_input")
    assert values(deck.said())["input video format"] == "none"
    deck.wait(5)
    assert deck.status == "record"
    deck.ask("stop")
    deck.wait(1)
    deck.said()
    assert deck.ask("record") == "110 no input\r\n"
    assert deck.value("transport info", "timecode") == "--:--:--:--"


def test_ignores_stop() -> None:
    deck = rolling()
    deck.turn("ignore_stop")
    assert deck.ask("stop") == "200 ok\r\n"
    deck.wait(10)
    assert deck.status == "record"


def test_play_ends_a_take_on_some_firmware() -> None:
    deck = rolling()
    deck.turn("play_stops")
    assert deck.ask("play").startswith("200 ok\r\n")
    assert ("stopped", "wire:1") in deck.history()


def test_loses_frames_and_says_so() -> None:
    deck = rolling()
    deck.ask("notify: dropped frames: true")
    deck.turn("dropped_frames", 2.0)
    deck.wait(3)
    assert deck.said().count("dropped frames:\r\n") == 6
    assert deck.deck.truth(deck.now_s)["dropped"] == 6


def test_a_storm_of_notices_has_its_rate_and_an_end() -> None:
    deck = rolling()
    deck.turn("notice_storm", 100.0)
    deck.wait(0.5)
    assert 49 <= deck.said().count("508 transport info:") <= 51
    deck.wait(3600)
    assert deck.said().count("508 transport info:") <= 101, "what nobody could hear is left out"
    deck.turn("notice_storm", False)
    deck.said()
    deck.wait(10)
    assert deck.said() == ""


def test_sends_no_notices() -> None:
    deck = DeckBench()
    deck.join(1, "transport")
    deck.turn("no_notices")
    deck.ask("record")
    deck.wait(2)
    assert deck.said() == ""
    assert deck.status == "record"


def test_short_notices_carry_what_changed() -> None:
    deck = DeckBench()
    deck.join(1, "transport")
    deck.turn("short_notices")
    deck.ask("record")
    deck.wait(2)
    assert deck.said() == "508 transport info:\r\nstatus: record\r\nspeed: 100\r\nclip id: 1\r\n\r\n"


def test_the_notice_may_come_before_the_ok() -> None:
    deck = DeckBench()
    deck.join(1, "transport")
    deck.turn("early_notices")
    said = deck.ask("record")
    assert said.startswith("508 transport info:\r\nstatus: record\r\n")
    assert said.endswith("\r\n\r\n200 ok\r\n")


def test_answers_as_another_deck() -> None:
    deck = DeckBench(model="Deck X", unique_id="aa")
    assert "model: Deck X" in deck.join(1)
    deck.turn("wrong_model")
    assert "model: Deck X" not in deck.join(2)
    assert deck.value("device info", "unique id") != "aa"


def test_newer_firmware_uses_words_nobody_knows() -> None:
    deck = rolling()
    deck.turn("unknown_words")
    assert values(deck.said())["status"] == "capturing"
    assert deck.value("transport info", "cloud state") == "idle"


def test_a_burst_of_garbage_comes_once_and_leaves_the_line_usable() -> None:
    deck = DeckBench()
    deck.join(1)
    deck.join(2)
    deck.turn("garbage")
    assert len(deck.said(1)) > 32
    assert deck.said(2)
    assert not deck.deck.faults.garbage
    assert deck.ask("ping") == "200 ok\r\n"


def test_an_inner_failure_refuses_acts_and_still_lets_look() -> None:
    deck = DeckBench()
    deck.join()
    deck.turn("internal_error")
    assert deck.ask("record") == "108 internal error\r\n"
    assert deck.status == "preview"


def test_a_reboot_ends_the_take_where_it_was() -> None:
    deck = rolling()
    deck.deck.close(1, deck.now_s)
    deck.deck.reboot(deck.now_s)
    deck.join(1, "transport", "slot")  # and is told nothing of what it was not there for
    assert deck.history()[2:4] == [("stopped", "self"), ("rebooted", "self")]
    assert deck.value("slot info", "status") == "mounting"
    deck.wait(1)
    assert deck.value("slot info", "status") == "mounted"


def test_a_reboot_forgets_the_roll_that_was_accepted_and_what_played() -> None:
    accepted, playing = DeckBench(), DeckBench(slots=[{"clips": [{"name": "A"}]}])
    for deck, act in ((accepted, "record"), (playing, "play")):
        deck.join()
        deck.ask(act)
        deck.deck.reboot(deck.now_s)
        deck.wait(60)
        assert deck.deck.truth(deck.now_s)["transport"] == "preview"
        assert deck.history()[-1] == ("mounted", "self")

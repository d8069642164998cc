"""Does a deck show what becomes otherwise outside it: another picture, another way of counting, another medium?"""

import pytest

from tests.simulators.deck_bench import DeckBench


def test_another_picture_is_told_and_asked_alike() -> None:
    bench = DeckBench()
    bench.join(1, "transport")
    bench.press("picture", format="1080i50")
    assert "input video format: 1080i50" in bench.said()
    assert bench.value("transport info", "input video format") == "1080i50"


def test_a_generator_that_counts_drop_frame_marks_its_labels() -> None:
    bench = DeckBench(video_format="1080p2997", drop=False)
    bench.join()
    assert ";" not in bench.value("transport info", "display timecode")
    bench.press("count", drop=True)
    assert ";" in bench.value("transport info", "display timecode")


def test_another_medium_has_another_size_and_nothing_on_it() -> None:
    bench = DeckBench(slots=[{"clips": [{"name": "Suite", "frames": 100}]}])
    bench.join()
    bench.press("eject", slot=1)
    bench.press("insert", slot=1, size_bytes=100e9)
    bench.wait(2)
    assert bench.value("slot info", "remaining size") == "100000000000"
    assert bench.clips() == []


@pytest.mark.parametrize(
    ("act", "args", "said"),
    [
        ("picture", {"format": "1080x25"}, 'iso-1: picture wants "format", one of '),
        ("count", {"drop": "yes"}, 'iso-1: count wants "drop": true or false.'),
        ("insert", {"slot": 1, "size_bytes": -1}, 'iso-1: insert wants "size_bytes" above 0.'),
    ],
)
def test_a_hand_that_does_it_wrong_is_told(act: str, args: dict[str, object], said: str) -> None:
    bench = DeckBench()
    if act == "insert":
        bench.press("eject", slot=1)
    with pytest.raises(ValueError, match=said):
        bench.press(act, **args)

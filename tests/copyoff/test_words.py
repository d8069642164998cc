"""Is copying off told in sentences that are true? Source of all rows: own construction."""

from datetime import time

import pytest

from stagectl.copyoff import words
from stagectl.copyoff.job import Sums
from stagectl.copyoff.plan import FIELDS
from stagectl.site.copyoff import LAYOUT_WORDS

WHOLE = Sums(clips=6, bytes=6000, published=6, safe=6)


def test_the_site_file_knows_the_words_of_a_layout() -> None:
    assert set(LAYOUT_WORDS) == set(FIELDS)


@pytest.mark.parametrize(
    ("count", "said"),
    [(0, "0 bytes"), (999, "999 bytes"), (1000, "1.0 kB"), (83_200_000_000, "83.2 GB"), (2.5e12, "2.5 TB")],
)
def test_bytes_are_told_in_powers_of_ten(count: float, said: str) -> None:
    assert words.size(count) == said


@pytest.mark.parametrize(
    ("seconds", "said"), [(0, "0 s"), (89, "89 s"), (90, "2 min"), (3540, "59 min"), (11_100, "3 h 05 min")]
)
def test_durations_are_told_as_people_say_them(seconds: float, said: str) -> None:
    assert words.span(seconds) == said


@pytest.mark.parametrize(
    ("sums", "said"),
    [
        (Sums(), "The recorders hold no clips."),
        (WHOLE, "All 6 clips stand copied and verified at shelf and vault."),
        (Sums(clips=1, published=1), "The 1 clip stands copied and verified at shelf and vault."),
        (Sums(clips=6, waiting=2), "2 of 6 clips are not copied. To copy them: stagectl copy run"),
        (Sums(clips=6, waiting=2, failed=1), "1 of 6 clips could not be copied. See: stagectl copy report"),
    ],
)
def test_what_stands_is_told_worst_first(sums: Sums, said: str) -> None:
    assert words.standing(sums, ["shelf", "vault"]) == said


def test_how_a_run_ended_is_told_from_what_stands() -> None:
    some = Sums(clips=6, waiting=2)
    told = words.ended(some, ["shelf"], stopped=True, says="")
    assert told == "Copying was stopped: 2 of 6 clips are not copied. What is begun is kept."
    assert words.ended(Sums(), ["shelf"], stopped=True, says="") == "Copying was stopped. What is begun is kept."
    assert words.ended(Sums(), ["shelf"], stopped=False, says="Rec 1 is gone.") == "Rec 1 is gone."
    told = words.ended(WHOLE, ["shelf"], stopped=False, says="Rec 1 is gone.")
    assert told == "Rec 1 is gone. All 6 clips stand copied and verified at shelf."


def test_a_run_is_told_with_rate_and_time_left_and_who_keeps_it_waiting() -> None:
    told = words.going(done=32 * 10**8, of=18 * 10**9, rate=82e6, left_s=180, waits=())
    assert told == "Copying: 3.2 GB of 18.0 GB, 82.0 MB/s, 3 min left."
    told = words.going(done=0, of=18, rate=0, left_s=None, waits=["Rec 1", "Rec 2"])
    assert told == "Copying waits for Rec 1 and Rec 2: a recorder is read when it rests."
    assert words.going(done=0, of=0, rate=0, left_s=None, waits=()) == "Copying: the recorders' clips are listed."


@pytest.mark.parametrize(
    ("sums", "fresh", "places", "said"),
    [
        (WHOLE, True, 2, "Safe to clear: 2 verified copies of each clip, on media of their own."),
        (
            WHOLE,
            False,
            2,
            "Not known if it is safe to clear: it may hold newer clips. To list them: stagectl copy plan",
        ),
        (
            Sums(clips=6, safe=0),
            True,
            1,
            "Not safe to clear: there is one place, and each clip must stand verified at two.",
        ),
        (Sums(clips=6, safe=5), True, 2, "Not safe to clear: 1 clip lacks a second verified copy."),
        (Sums(clips=6, safe=3), True, 2, "Not safe to clear: 3 clips lack a second verified copy."),
        (Sums(), True, 2, ""),
    ],
)
def test_it_is_safe_to_clear_only_what_stands_twice_and_is_all_there_is(
    sums: Sums, fresh: bool, places: int, said: str
) -> None:
    assert words.clear(sums, fresh=fresh, places=places) == said


def test_a_recorder_is_told_with_what_waits_and_what_failed() -> None:
    assert words.recorder("Rec 1", Sums(), listed=False) == "Rec 1: its clips were not listed yet."
    assert words.recorder("Rec 1", Sums(), listed=True) == "Rec 1 holds no clips."
    told = words.recorder("Rec 1", Sums(clips=6, published=3, waiting=2, failed=1), listed=True)
    assert told == "Rec 1: 3 of 6 clips copied and verified, 2 not copied, 1 failed."


def test_what_does_not_fit_is_told_with_what_to_do() -> None:
    told = words.room("shelf", need=90 * 10**9, free=40 * 10**9)
    assert told == "shelf has 40.0 GB left, and 90.0 GB are to come. Make room there, or copy fewer takes."
    assert words.room("shelf", need=90, free=None) == words.room("shelf", need=90, free=90) == ""


@pytest.mark.parametrize(
    ("sums", "goes", "left_s", "said"),
    [
        (Sums(), False, None, "no clips known"),
        (WHOLE, False, None, "6 of 6 proven"),
        (Sums(clips=6, published=3, waiting=2, failed=1), False, None, "3 of 6 proven, 1 failed"),
        (Sums(clips=6, published=3, waiting=3), True, 180, "3 of 6 proven, 3 min left"),
        (Sums(clips=6, waiting=6), True, None, "0 of 6 proven, copying"),
    ],
)
def test_the_contents_of_the_page_have_it_in_a_few_words(
    sums: Sums, goes: bool, left_s: float | None, said: str
) -> None:
    assert words.answer(sums, goes=goes, left_s=left_s) == said


def test_when_runs_begin_by_themselves_is_told() -> None:
    assert words.schedule(time(2, 0), 2700) == "A run begins by itself at 02:00 and 45 min after the last take."
    assert words.schedule(None, None) == "No run begins by itself."


def test_a_verification_is_told_by_what_it_found() -> None:
    assert words.checked("shelf", good=7, wrong=0, read=4000) == "shelf: all 7 files are as they were, 4.0 kB read."
    assert words.checked("shelf", good=1, wrong=0, read=4) == "shelf: the 1 file is as it was, 4 bytes read."
    assert words.checked("shelf", good=6, wrong=1, read=4) == "shelf: 1 thing is wrong, 6 files are as they were."

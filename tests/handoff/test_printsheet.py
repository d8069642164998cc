"""Does the PDF say what the sheet in HTML says, on pages that can be told apart, with every name readable?

Sources: pages are read back by pypdf; which signs DejaVu Sans and reportlab's own face hold is their files' own table.
"""

import io
import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from stagectl.handoff.faces import OWN, Faces, is_face
from stagectl.handoff.logsheet import log_sheet
from stagectl.handoff.printsheet import log_pdf
from stagectl.handoff.ranges import ranged
from stagectl.handoff.takepicture import take_picture
from tests.handoff.test_ranges import lane, take
from tests.handoff.test_timeline import mark

A4_ACROSS = (842, 595)  # points, ISO 216 rounded


def pages(*takes: dict[str, Any], title: str = "Tidewater Hall 2026-11-28", faces: Faces | None = None) -> list[str]:
    """The text of each page, in single spaces."""
    data = log_pdf(ranged(takes), title, faces or Faces(*OWN))
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages]


def day(count: int) -> list[dict[str, Any]]:
    lanes = [lane(f"iso-{n}", "10:00:00:00", "00:01:00:00") for n in range(1, 5)]
    return [
        take(*lanes, take=n, opened=f"2026-11-28T{8 + n // 60:02}:{n % 60:02}:00.000Z") for n in range(1, count + 1)
    ]


def test_it_says_what_the_sheet_in_html_says() -> None:
    lanes = [lane("wide", "10:00:00:00", "00:18:28:07", clip=""), lane("hands", "10:00:00:05", "00:18:28:07")]
    marks = [mark("problem", "10:00:04:00", "a <chair> & more")]
    one = take(*lanes, marks=marks, wanted=["pgm", "iso-9"], unseen=["iso-9"], good=True)
    (page,) = pages(one)
    html = re.sub(r"<style>.*</style>|<svg.*?</svg>", "", log_sheet(ranged([one]), "Tidewater Hall 2026-11-28"))
    words = unescape(re.sub("<[^>]+>", " ", html)).split()[4:]  # without the title in the head
    missing = [word for word in words if word not in page]
    assert missing == []
    for told in ("NO CLIP", "NOT KNOWN IF IT ROLLED", "NOT TOLD", "GOOD", "a <chair> & more", "page 1 of 1"):
        assert told in page


def drawn(data: bytes) -> list[tuple[str, str]]:
    """Width and height of each filled rectangle of the first page. Source: ISO 32000-1, 8.5.2.1, operator re."""
    content = PdfReader(io.BytesIO(data)).pages[0].get_contents()
    assert content is not None
    number = rb"(-?[0-9.]+) "
    found = re.findall(rb"(?:^|\s)" + number * 4 + rb"re f", content.get_data())
    return [(f"{float(wide):.1f}", f"{float(high):.1f}") for _, _, wide, high in found]


def test_each_take_has_the_picture_that_the_page_has() -> None:
    lanes = [lane("wide", "10:00:00:00", "00:18:28:07"), lane("hands", "10:00:00:05", "00:18:28:07")]
    (one,) = ranged([take(*lanes, marks=[mark("problem", "10:00:04:00", "a chair")])])
    data = log_pdf([one], "Hall", Faces(*OWN))
    bars = re.findall(r'<rect x="[0-9.]+" y="[0-9.]+" width="([0-9.]+)" height="([0-9.]+)"', take_picture(one))
    assert len(bars) == 3
    assert drawn(data) == bars
    (text,) = pages(take(*lanes, marks=[mark("problem", "10:00:04:00", "a chair")]))
    assert "a 10:00:04:00 problem" in text
    assert text.count("+5") == text.count("+0") == 2


def test_a_picture_that_nobody_could_read_is_left_out_and_no_row_with_it() -> None:
    many = ranged([take(*(lane(f"iso-{n}", "10:00:00:00", "00:01:00:00") for n in range(1, 46)))])
    data = log_pdf(many, "Hall", Faces(*OWN))
    assert drawn(data) == []
    texts = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    assert "T001_iso-45" in texts[-1]


def test_problems_come_before_the_first_take() -> None:
    page, _ = pages(*day(2), take(lane("wide", "10:00:00:00", ""), take=3, opened="2026-11-28T09:00:00.000Z"))
    assert page.index("Take 3: Wide: it has told no length yet.") < page.index("Take 1 Masterclass 3")


@pytest.mark.slow
def test_pages_are_counted_a4_across_and_no_take_is_lost_between_them() -> None:
    data = log_pdf(ranged(day(30)), "Hall", Faces(*OWN))
    found = PdfReader(io.BytesIO(data)).pages
    texts = [" ".join(page.extract_text().split()) for page in found]
    assert len(texts) > 4
    assert [f"page {n} of {len(texts)}" in text for n, text in enumerate(texts, 1)] == [True] * len(texts)
    whole = " ".join(texts)
    assert [whole.count(f"Take {n} Masterclass 3, rolled") for n in range(1, 31)] == [1] * 30
    assert whole.count("T001_iso-4") == 30
    assert {tuple(round(float(side)) for side in page.mediabox[2:]) for page in found} == {A4_ACROSS}


@pytest.mark.slow
def test_the_head_of_a_table_stands_on_each_of_its_pages() -> None:
    lanes = [lane(f"deck-{n}", "10:00:00:00", "00:01:00:00") for n in range(100)]
    texts = pages(take(*lanes))
    assert len(texts) > 2
    assert all("recorder clip first label end frames rate offset note" in text for text in texts)


@pytest.mark.slow
def test_long_names_are_wrapped_and_lose_nothing() -> None:
    long = "".join(f"<{n:03}>" for n in range(800))  # 4000 signs without a space, as long as a deck's line may be
    one = take(lane("wide", "10:00:00:00", "00:01:00:00", clip=long), name="Large " * 30)
    whole = "".join(pages(one)).replace(" ", "")
    assert (whole.count("<"), whole.count(">")) == (800, 800)
    assert whole.count("Large") == 30


def test_the_same_takes_make_the_same_bytes() -> None:
    assert log_pdf(ranged(day(3)), "Hall", Faces(*OWN)) == log_pdf(ranged(day(3)), "Hall", Faces(*OWN))


def test_a_day_without_takes_is_a_page() -> None:
    (page,) = pages()
    assert "No take." in page


DEJAVU = Path("/usr/share/fonts/truetype/dejavu")  # fonts-dejavu-core, which Debian's fontconfig brings


def test_a_further_face_sets_what_the_first_one_lacks() -> None:
    faces = Faces(*OWN, [DEJAVU / "DejaVuSans.ttf"])
    (page,) = pages(take(lane("wide", "10:00:00:00", "00:01:00:00", called="Запись 3")), faces=faces)
    assert "Запись 3" in page
    assert faces.lacking == set()


@pytest.mark.parametrize(
    ("name", "told"),
    [("録画", "[U+9332][U+753B]"), ("שלום", "[U+05E9]"), ("a\u202eb", "a[U+202E]b"), ("🎹", "[U+1F3B9]")],
)
def test_a_sign_that_no_face_sets_is_shown_by_its_number(name: str, told: str) -> None:
    faces = Faces(*OWN)
    (page,) = pages(take(lane("wide", "10:00:00:00", "00:01:00:00", clip=name)), title=name, faces=faces)
    assert told in page.replace(" ", "")
    assert faces.lacking


def test_a_file_that_is_no_face_is_passed_over(tmp_path: Path) -> None:
    bad = tmp_path / "bad.ttf"
    bad.write_bytes(b"\0" * 40)
    assert [is_face(path) for path in (bad, tmp_path / "gone.ttf", DEJAVU / "DejaVuSans.ttf")] == [False, False, True]
    faces = Faces(*OWN, [bad, DEJAVU / "DejaVuSans.ttf"])
    assert "Ж" in pages(take(name="Ж"), faces=faces)[0]

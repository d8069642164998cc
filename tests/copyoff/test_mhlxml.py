"""Is a manifest written as the schema wants it, and is any manifest read as it stands?

Sources: the schemas and the examples of the standard's own repository (tests/standards/asc-mhl, see NOTICE).
"""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from stagectl.copyoff.mhlread import MAX_DEPTH, MAX_TEXT, ManifestError, read_chain, read_manifest
from stagectl.copyoff.mhlxml import (
    FileEntry,
    Generation,
    Hash,
    Head,
    Ignored,
    Reference,
    write_chain,
    write_manifest,
)
from tests.copyoff.mhlschema import STANDARD, check_chain, check_manifest

MOMENT = datetime(2026, 11, 25, 5, 13, 12, tzinfo=UTC)
HEAD = Head(MOMENT, "hall", "stagectl", "0.1.0", comment="copy-off of 2 recorders", ignore=(".DS_Store", "ascmhl"))
ABCD = "8d6b60383dfa90c21be79eecd1b1353d"
CLIP = FileEntry(
    "iso-1/CAM1_T001.mov",
    (Hash("xxh128", ABCD, "original", MOMENT),),
    4,
    MOMENT,
    ours={"recorder": "iso-1", "slate": 'a "slate" & <more>', "take": "1"},
)
C4 = "c45KV7faX3SmdaS4RZ56zPtoim44W4L2uCXH4zFVkDr88XcStBSgTVxYZJa9bxCHwDbLJFctCKNfxJKFqA4fLuPanA"


def manifest(*entries: FileEntry) -> bytes:
    return b"".join(write_manifest(HEAD, entries))


def cut(data: bytes, size: int) -> Iterator[bytes]:
    return (data[at : at + size] for at in range(0, len(data), size))


ODD = [
    "Säle & <Türen>.mov",
    "a 'b' \"c\".mov",
    "  spaces  .mov",
    "[1];%20.mov",
    "日本.mov",
    "two\r\nlines.mov",
    "x" * 255,
]


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("size", [1, 7, 100_000])
def test_what_is_written_is_valid_and_read_back(name: str, size: int) -> None:
    clip = replace(CLIP, path=f"iso-1/{name}")
    data = manifest(clip)
    check_manifest(data)
    assert list(read_manifest(cut(data, size))) == [
        Ignored(".DS_Store"),
        Ignored("ascmhl"),
        replace(clip, ours={}),  # what we know of it is for people; nothing is judged by it
    ]


def test_several_hashes_stand_in_the_order_of_the_schema() -> None:
    hashes = (Hash("xxh64", "de0327b0d25d92cc"), Hash("c4", C4), Hash("md5", "e2fc714c4727ee9395f324cd2e7f331f"))
    data = manifest(replace(CLIP, hashes=hashes, previous="iso-1/old.mov", size=None, modified=None))
    check_manifest(data)
    (read,) = (entry for entry in read_manifest([data]) if isinstance(entry, FileEntry))
    assert [one.kind for one in read.hashes] == ["c4", "md5", "xxh64"]
    assert read.previous == "iso-1/old.mov"


def test_what_we_know_of_a_clip_stands_beside_it_for_people() -> None:
    found = etree.fromstring(manifest(CLIP)).find(".//{urn:stagectl:copy-off:1}copied")
    assert found is not None
    assert dict(found.attrib) == {"recorder": "iso-1", "slate": 'a "slate" & <more>', "take": "1"}


@pytest.mark.parametrize("sign", ["\0", "\x1b", "\ud800", "\uffff"])
def test_a_sign_that_xml_can_t_hold_is_refused(sign: str) -> None:
    with pytest.raises(ValueError, match="no XML document"):
        manifest(replace(CLIP, path=f"a{sign}.mov"))


def test_the_chain_is_valid_and_read_back() -> None:
    chain = [Generation(1, "0001_A001_2026-11-25_051312Z.mhl", "c4", C4), Generation(2, "0002_A&B.mhl", "c4", C4)]
    check_chain(write_chain(chain))
    assert read_chain(write_chain(chain)) == chain


def test_the_standard_s_own_examples_are_read() -> None:
    entries = list(read_manifest([(STANDARD / "example_manifest.mhl").read_bytes()]))
    files = [entry for entry in entries if isinstance(entry, FileEntry)]
    assert [(one.path, one.size, one.hashes[0].text, one.hashes[0].action) for one in files] == [
        ("Clips/A002C006_141024_R2EC.mov", 5, "0ea03b369a463d9d", "original"),
        ("Clips/A002C007_141024_R2EC.mov", 5, "7680e5f98f4a80fd", "original"),
        ("Sidecar.txt", 58, "3ab5a4166b9bde44", "failed"),
    ]
    assert files[0].modified == datetime(2019, 10, 11, 13, 56, 3, tzinfo=UTC)
    assert [entry for entry in entries if isinstance(entry, Ignored)] == [Ignored("*.DS_Store"), Ignored("/tmp")]
    assert [entry.path for entry in entries if isinstance(entry, Reference)] == [
        "A002R2EC/ascmhl/A002R2EC_2020-01-17_143000_0002.mhl",
        "A003R2EC/ascmhl/A003R2EC_2020-01-17_143000_0002.mhl",
    ]
    assert len(read_chain((STANDARD / "example_chain.xml").read_bytes())) >= 1


GOOD = manifest(CLIP).decode()
BAD = [
    ("empty", "", "no element found"),
    ("broken off", GOOD[: len(GOOD) // 2], "line "),
    ("another root", "<a/>", "first element is a"),
    ("another version", GOOD.replace('version="2.0" xmlns', 'version="1.1" xmlns'), "version is not 2.0"),
    ("another namespace", GOOD.replace("urn:ASC:MHL:v2.0", "urn:x"), "not hashlist of urn:ASC:MHL:v2.0"),
    ("entities that grow", f'<!DOCTYPE a [<!ENTITY b "c">]>{GOOD.split("?>")[1]}', "document type"),
    ("out of the folder", GOOD.replace("iso-1/CAM1", "../../etc/CAM1"), "leads out of the folder"),
    ("from the root", GOOD.replace("iso-1/CAM1", "/etc/CAM1"), "leads out of the folder"),
    ("no path", GOOD.replace("iso-1/CAM1_T001.mov", ""), "leads out of the folder"),
    ("no action", GOOD.replace(' action="original"', ""), "neither original, verified nor failed"),
    ("a size without end", GOOD.replace('size="4"', f'size="{"9" * 5000}"'), "size"),
    ("a size in words", GOOD.replace('size="4"', 'size="four"'), "size"),
    ("a long text", GOOD.replace("iso-1/", "a" * (MAX_TEXT + 1)), "more than 65536"),
    ("deep", GOOD.replace("<metadata>", "<metadata>" + "<a>" * MAX_DEPTH), "inside each other"),
]


@pytest.mark.parametrize(("text", "why"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
@pytest.mark.parametrize("size", [13, 5_000_000])
def test_what_is_no_manifest_says_where_and_why(text: str, why: str, size: int) -> None:
    with pytest.raises(ManifestError, match=why):
        list(read_manifest(cut(text.encode(), size)))


def test_a_tag_without_end_fills_no_memory() -> None:
    endless = (GOOD[: GOOD.index('size="4"') + 6].encode(), *[b"9" * 100_000] * 1000)
    given_up = iter(endless)
    with pytest.raises(ManifestError, match="more than 1048576 bytes"):
        list(read_manifest(given_up))
    assert next(given_up)  # most of it was not even asked for


def test_what_others_add_is_passed_over_however_long() -> None:
    added = f"<metadata><path>x</path><md5>y</md5><z>{'a' * (MAX_TEXT * 2)}</z>"
    entries = list(read_manifest([GOOD.replace("<metadata>", added).encode()]))
    assert entries[-1] == replace(CLIP, ours={})


@pytest.mark.parametrize("numbers", [(2,), (1, 3), (1, 1)])
def test_a_chain_with_gaps_is_none(numbers: tuple[int, ...]) -> None:
    with pytest.raises(ManifestError, match="without gaps"):
        read_chain(write_chain(Generation(number, f"{number:04d}_a.mhl", "c4", C4) for number in numbers))


def test_a_chain_that_points_elsewhere_is_none() -> None:
    with pytest.raises(ManifestError, match="no file name in this folder"):
        read_chain(write_chain([Generation(1, "../0001_a.mhl", "c4", C4)]))


@pytest.mark.parametrize(
    "date", ["0001-01-01T00:00:00+14:00", "yesterday", "2026-11-25T05:13:12", "9999-12-31T23:59:59-14:00"]
)
def test_a_date_that_says_nothing_is_left_out(date: str) -> None:
    (read,) = (
        one
        for one in read_manifest([GOOD.replace("2026-11-25T05:13:12Z", date).encode()])
        if isinstance(one, FileEntry)
    )
    assert (read.modified, read.hashes[0].at) == (None, None)


@given(st.binary(max_size=60), st.integers(0, len(GOOD)), st.integers(0, 60))
def test_whatever_stands_in_a_manifest_it_is_read_or_refused(noise: bytes, at: int, gone: int) -> None:
    data = GOOD.encode()
    spoilt = data[:at] + noise + data[at + gone :]
    with suppress(ManifestError):
        assert all(isinstance(entry, FileEntry | Ignored | Reference) for entry in read_manifest(cut(spoilt, 7)))
    with suppress(ManifestError):
        read_chain(spoilt)


def test_the_schemas_came_with_their_notice() -> None:
    assert "MIT" in (Path(STANDARD) / "NOTICE").read_text()

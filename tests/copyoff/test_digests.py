"""Are hashes what other programs make of the same bytes? Source: tests/vectors/mhl.py."""

import hashlib
from importlib.util import find_spec

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.copyoff import digests
from stagectl.copyoff.c4 import c4_bytes, c4_of, c4_text
from stagectl.copyoff.digests import FORMATS, digest, digest_bytes, quickest
from tests.vectors.mhl import HASHES


@pytest.mark.parametrize(("kind", "data", "text"), HASHES)
def test_a_hash_is_what_other_programs_make(kind: str, data: bytes, text: str) -> None:
    made = digest(kind)
    for at in range(len(data)):
        made.update(memoryview(data)[at : at + 1])
    assert made.text() == text
    assert len(digest_bytes(kind, text)) == FORMATS[kind]


def test_c4_takes_all_at_once_too() -> None:
    assert c4_of(b"abcd") == next(text for kind, data, text in HASHES if (kind, data) == ("c4", b"abcd"))


@given(st.binary(min_size=64, max_size=64))
def test_c4_is_read_back(raw: bytes) -> None:
    assert c4_bytes(c4_text(raw)) == raw


def test_the_smallest_number_is_filled_up() -> None:
    assert c4_text(bytes(64)) == "c4" + "1" * 88  # the rule of Appendix D; own construction


@pytest.mark.parametrize("text", ["", "c4", "c4" + "1" * 87, "c4" + "0" * 88, "c4" + "z" * 88, "d4" + "1" * 88])
def test_what_is_no_c4_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"C4|SHA-512|substring"):
        c4_bytes(text)


@pytest.mark.parametrize(("kind", "text"), [("md5", "00"), ("xxh64", "zz" * 8), ("sha256", "00" * 32)])
def test_what_is_no_hash_of_its_format_is_refused(kind: str, text: str) -> None:
    with pytest.raises(ValueError, match=r"no |non-hexadecimal"):
        digest_bytes(kind, text)


def test_a_format_of_no_list_is_refused() -> None:
    with pytest.raises(ValueError, match="sha256"):
        digest("sha256")


def test_without_the_library_md5_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    assert quickest() == ("xxh128" if find_spec("xxhash") else "md5")
    monkeypatch.setattr(digests, "find_spec", lambda name: None)
    assert quickest() == "md5"
    made = digest("md5")
    made.update(b"abcd")
    assert made.text() == hashlib.md5(b"abcd").hexdigest()

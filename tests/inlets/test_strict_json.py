"""Is JSON read as strictly as a command deserves?

Source: RFC 8259 for what is JSON; the limits are own choice.
"""

import json

import pytest

from stagectl.inlets import strict_json

TAKEN = [
    (b"{}", {}),
    (b' {"a": [1, 2.5, -3e2, true, null]} ', {"a": [1, 2.5, -300.0, True, None]}),
    ('{"name": "Třetí věta"}'.encode(), {"name": "Třetí věta"}),
    (b'"\\ud83c\\udfac"', "\U0001f3ac"),
    (b"[" * 32 + b"]" * 32, None),
    (b'{"a": "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[["}', {"a": "[" * 40}),
    (b'{"a": "\\"[[["}', {"a": '"[[['}),
]
REFUSED = [
    ("nested 33", b"[" * 33 + b"]" * 33, "more than 32 levels"),
    ("nested 10000", b"[" * 10_000, "more than 32 levels"),
    ("nested 100000", b"[" * 100_000, "more than 20000 parts"),
    ("many numbers", b"[" + b"1," * 500_000 + b"1]", "more than 20000 parts"),
    ("nested behind a text", b'{"a": "\\"[", "b": ' + b"[" * 33 + b"]" * 33 + b"}", "more than 32 levels"),
    ("NaN", b'{"a": NaN}', "NaN"),
    ("Infinity", b"[-Infinity]", "Infinity"),
    ("overflow", b"[1e999]", "larger"),
    ("many digits", b"[" + b"9" * 5000 + b"]", "digits"),
    ("twice", b'{"take": 1, "take": 2}', '"take" stands twice'),
    ("twice inside", b'{"a": [{"b": 1, "b": 1}]}', '"b" stands twice'),
    ("half a character", b'"\\ud800"', "half a character"),
    ("no UTF-8", b'{"a": "\xff"}', "byte 8"),
    ("BOM of another", b"\xff\xfe{}", "byte 1"),
    ("cut short", b'{"a": ', "no JSON"),
    ("after it", b"{} {}", "no JSON"),
    ("a comment", b"{} // x", "no JSON"),
    ("single quotes", b"{'a': 1}", "no JSON"),
    ("raw line end in a text", b'{"a": "x\ny"}', "no JSON"),
    ("nothing", b"", "no JSON"),
]


@pytest.mark.parametrize(("text", "value"), TAKEN)
def test_json_is_read(text: bytes, value: object) -> None:
    read = strict_json.read(text)
    assert read == (value if value is not None else json.loads(text))


@pytest.mark.parametrize(("text", "says"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_what_is_not_strict_is_refused_in_a_sentence(text: bytes, says: str) -> None:
    with pytest.raises(strict_json.StrictError, match=says) as refusal:
        strict_json.read(text)
    assert str(refusal.value).endswith(".")


def test_what_json_does_not_hold_is_written_as_text() -> None:
    assert strict_json.written({"a": "ř\ud800"}) == '{"a":"ř?"}'.encode()

"""Is a form read as the JSON it stands for, and refused where it can't be? Over real HTTP, with and without a token.

Source: the encoding is the URL standard's application/x-www-form-urlencoded; which names there are is our own.
"""

import pytest

from stagectl.inlets.http import form
from tests.inlets.http.conftest import API, Front
from tests.inlets.http.keys import Keys, close

FORM = {"Content-Type": form.CONTENT_TYPE}


@pytest.fixture
async def keys(front: Front) -> Keys:
    return await close(front)


async def post(front: Front, data: bytes, **headers: str) -> tuple[int, dict[str, object]]:
    url = f"{API}/in/pedal?wait=verdict"
    async with front.session.post(url, data=data, headers=FORM | headers) as answer:
        return answer.status, await answer.json(content_type=None)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"verb=roll", {"verb": "roll", "args": {}}),
        (b"verb=roll&id=a1&name=Act+one%2C+again", {"verb": "roll", "id": "a1", "args": {"name": "Act one, again"}}),
        (b"verb=cut&take=12&on=iso-1%2C+iso-2", {"verb": "cut", "args": {"take": 12, "on": ["iso-1", "iso-2"]}}),
        (b"verb=mark&good=false", {"verb": "mark", "args": {"good": False}}),
        (b"verb=mark&note=%E2%99%AA", {"verb": "mark", "args": {"note": "♪"}}),
    ],
)
def test_a_form_stands_for_an_object(text: bytes, told: object) -> None:
    assert form.read(text) == told


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"verb=roll&verb=cut", "twice"),
        (b"verb", "no form"),
        (b"verb=roll&name=%FF", "UTF-8"),
        ("verb=roll&name=ä".encode(), "UTF-8"),
        (b"verb=cut&take=1e3", "whole number"),
        (b"verb=mark&good=1", "true or false"),
        (b"&".join(b"a%d=1" % n for n in range(40)), "no form"),
        (b"verb=roll&name=" + b"x" * form.FORM_BYTES, "at most"),
    ],
)
def test_what_is_no_form_is_refused_in_a_sentence(text: bytes, says: str) -> None:
    with pytest.raises(form.FormError, match=says):
        form.read(text)


async def test_a_sender_of_forms_rolls_with_its_token(front: Front, keys: Keys) -> None:
    status, answer = await post(front, b"verb=roll&id=a1&name=Warm-up", **keys.of("ines"))
    assert (status, answer["is"], answer["count"]) == (200, "done", "3 of 3")
    assert [name for name, _ in front.toys.asked()] == ["iso-1", "iso-2", "iso-3"]
    status, again = await post(front, b"verb=roll&id=a1&name=Warm-up", **keys.of("ines"))
    assert (status, again["command"]) == (200, answer["command"])
    assert len(front.toys.asked()) == 3
    status, refused = await post(front, b"verb=roll&verb=cut", **keys.of("ines"))
    assert (status, refused["code"]) == (400, "form")


async def test_without_a_token_a_form_is_not_taken(front: Front) -> None:
    """Any page in a browser of this machine can send one, and in a house without accounts nothing else is asked for."""
    status, answer = await post(front, b"verb=roll")
    assert (status, answer["code"]) == (415, "content-type")
    assert front.toys.asked() == []


async def test_a_form_is_taken_where_inlets_ask_and_nowhere_else(front: Front, keys: Keys) -> None:
    async with front.session.post(f"{API}/roll", data=b"name=x", headers=FORM | keys.of("ines")) as answer:
        assert answer.status == 415
    assert front.toys.asked() == []

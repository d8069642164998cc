"""What are the shapes of requests and answers made of? Words, numbers and names, and what is strict about them."""

import unicodedata
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from stagectl.shoot.house import ID_LONGEST

NUMBER_MOST = 1_000_000_000
_UNSEEN = ("Cc", "Cs", "Zl", "Zp")
_TURNS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def one_line(text: str) -> str:
    """One line for people: no control characters, nothing that turns the direction of writing."""
    for char in text:
        if unicodedata.category(char) in _UNSEEN or char in _TURNS:
            raise ValueError("it holds a control character or a line end.")
    return text


Line = Annotated[str, Field(max_length=200), AfterValidator(one_line)]
Word = Annotated[str, Field(min_length=1, max_length=64), AfterValidator(one_line)]
Number = Annotated[int, Field(ge=1, le=NUMBER_MOST)]
Id = Annotated[str, Field(pattern=rf"^[A-Za-z0-9._-]{{1,{ID_LONGEST}}}$")]
Confirm = Annotated[
    str, Field(pattern="^[A-Z0-9]{0,16}$", description="the word of the refusal, to have it done all the same")
]
Name = Annotated[str, Field(pattern="^[a-z0-9][a-z0-9-]{0,31}$")]
PointName = Annotated[str, Field(pattern="^[a-z0-9_-]+([.][a-z0-9_-]+)*$", max_length=100)]
Scalar = bool | int | float | Line
Argument = Scalar | Annotated[list[Word], Field(max_length=256)]
Arguments = Annotated[dict[Word, Argument], Field(max_length=32)]


class In(BaseModel):
    """From a body: nothing unknown, and every value in its own type."""

    model_config = ConfigDict(extra="forbid", strict=True, defer_build=True)


class Lax(BaseModel):
    """From a path or a query: numbers arrive as text."""

    model_config = ConfigDict(extra="forbid", defer_build=True)


class Out(BaseModel):
    """What goes out: words may be added."""

    model_config = ConfigDict(extra="allow", defer_build=True)

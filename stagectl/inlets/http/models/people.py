"""How do people, programs and guests come in, and who holds the desk?"""

from typing import Any, Literal

from pydantic import Field, SecretStr

from stagectl.inlets.http.models.shapes import Arguments, Id, In, Lax, Line, Name, Out, Word


class HookPath(Lax):
    """Which hook: its secret."""

    key: str = Field(pattern="^[A-Za-z0-9_-]{16,128}$", examples=["x" * 43])


class TokenPath(Lax):
    """Which token; its id opens nothing."""

    id: Id


class LoginBody(In):
    """Who comes in."""

    name: Name
    password: SecretStr = Field(min_length=1, max_length=256)


class TokenBody(In):
    """A token for a program: a viewer only reads; an operator does these verbs on these devices."""

    name: Name = Field(examples=["pedal"])
    role: Literal["viewer", "operator"]
    verbs: list[Word] = Field([], max_length=64, examples=[["roll", "good"]])
    devices: list[Word] = Field([], max_length=256, description="devices, groups and parts")
    days: int = Field(90, ge=1, le=90)


class HookBody(In):
    """An address that does one thing: roll {name, on}, route {src, dst}, or mark {good, note} the newest take."""

    name: Name = Field(examples=["doorbell"])
    verb: Literal["roll", "mark", "route"]
    args: Arguments = Field({})
    days: int = Field(90, ge=1, le=90)


class GuestBody(In):
    """A token for a guest."""

    name: Name = Field("guest", description="what the guest is called in the journal")
    acts: list[Word] = Field(
        min_length=1,
        max_length=3,
        description="three at most: more is no card any more",
        examples=[["roll", "good", "call"]],
    )
    hours: int = Field(4, ge=1, le=24)


class DeskBody(In):
    """What is done with the desk."""

    act: Literal["take", "ask", "give", "keep"]
    to: Name | Literal[""] = Field("", description="whom it is given to; nobody if left out")


class CallBody(In):
    """Why somebody is called."""

    say: Line = ""


class TokenOut(Out):
    """A token without what opens anything; `verbs` and `devices` null: all that the role may."""

    id: str
    name: str
    kind: Literal["person", "machine", "guest", "hook"]
    role: str
    verbs: list[str] | None
    devices: list[str] | None
    does: dict[str, Any] | None = Field(description="of a hook: its one verb and its arguments")
    by: str
    made: str
    until: str


class IssuedOut(TokenOut):
    """A fresh token; `token` is told this once."""

    token: str
    say: str


class GuestOut(IssuedOut):
    """A fresh token of a guest, and how it reaches a phone."""

    link: str = Field(description="the page of the guest, with the token behind its #; whoever has it may use it")
    qr: list[str] = Field(description='the link as a QR code, row by row: "1" dark, "0" light; leave 4 light around it')


class HookOut(TokenOut):
    """A fresh hook; its address is told this once."""

    url: str
    say: str


class TokensOut(Out):
    """The tokens that are out."""

    tokens: list[TokenOut]


class MeOut(Out):
    """Who this is; `accounts` false: nobody needs a token here."""

    name: str
    role: str
    kind: str
    sees: bool
    verbs: list[str] | None
    devices: list[str] | None
    until: str | None
    accounts: bool


class DeskOut(Out):
    """Who holds the desk; empty: nobody. `free_s`: until who asked may take it."""

    holder: str
    asker: str
    free_s: float | None
    say: str

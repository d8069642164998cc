"""How does a plan of many routes look?"""

from typing import Annotated

from pydantic import Field

from stagectl.inlets.http.models.shapes import In, Line, Out


class RoutesBody(In):
    """Routes to be planned together."""

    routes: Annotated[list[Line], Field(min_length=1, max_length=256)] = Field(
        description="a destination and its source each, at all levels that both have, or at one",
        examples=[["director = wide", "program = hands at sound"]],
    )


class RoutePlanRow(Out):
    """One destination of a plan: its way, or why there is none."""

    destination: str
    source: str
    level: str = Field(description="video, sound; empty where the site has none beside video")
    way: list[str]
    delay: int
    stands: bool
    why: str
    remedy: str


class RoutePlanOut(Out):
    """Ways found together; `routes` is what to ask of `paths` with the verb `route`."""

    say: str
    served: int
    of: int
    exact: bool
    method: str
    freed: list[str]
    notes: list[str] = Field(description="what stays as it is, because its source does not have it")
    rev: int
    routes: list[str]
    rows: list[RoutePlanRow]

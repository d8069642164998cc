"""How does a plan of many routes look?"""

from typing import Annotated

from pydantic import Field

from stagectl.inlets.http.models.shapes import In, Line, Out


class RoutesBody(In):
    """Routes to be planned together."""

    routes: Annotated[list[Line], Field(min_length=1, max_length=256)] = Field(
        description="a destination and its source each", examples=[["director = wide", "program = hands"]]
    )


class RoutePlanRow(Out):
    """One destination of a plan: its way, or why there is none."""

    destination: str
    source: str
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
    rev: int
    routes: list[str]
    rows: list[RoutePlanRow]

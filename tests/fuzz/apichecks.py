"""Does each route keep out whom its rule keeps out, whatever is sent? A check that schemathesis makes of every answer.

Loaded by it as `SCHEMATHESIS_HOOKS`; who calls stands in `STAGECTL_CALLER`.
"""

import os
from typing import Any, Final

import schemathesis

from stagectl.inlets.http.route import Route
from stagectl.inlets.http.routes import ROUTES
from tests.inlets.http.matrix import CALLERS, passes

WHO: Final = "STAGECTL_CALLER"
OPEN: Final = "open"  # a house without accounts
_BY_PLACE: Final[dict[tuple[str, str], Route]] = {(route.method, route.path_text): route for route in ROUTES}


@schemathesis.check
def authority(_: Any, response: Any, case: Any) -> None:
    """No answer below 400 where the rule says no, no address that is not in the table, and 401 asks for a token."""
    method = "GET" if case.method.upper() == "HEAD" else case.method.upper()
    route = _BY_PLACE.get((method, case.operation.path))
    status = response.status_code
    if route is None:
        assert status >= 400, f"{case.method} {case.operation.path} is no route and answers {status}"
        return
    who = os.environ[WHO]
    if who != OPEN and (says := passes(route, CALLERS[who])) != "yes":
        assert status >= 400, f"{who} was let in at {method} {case.operation.path} ({says} was due): {status}"
    if status == 401:
        assert response.headers.get("www-authenticate"), "401 without a way to come in"

"""How does a program turn a fault of a running simulator? A small client of the door, standard library only."""

from __future__ import annotations

import http.client
import json
from typing import Final
from urllib.parse import quote, urlsplit

TIMEOUT_S: Final = 5.0


class DoorError(Exception):
    """The door refused, or is not there: one sentence for the person."""


def list_boxes(url: str) -> list[dict[str, object]]:
    """Every box: `id`, `kind`, `address` ("host:port"), `faults_on`, `store` (its clip store's address, or None)."""
    boxes = _ask(url, "GET", "/boxes")["boxes"]
    assert isinstance(boxes, list)
    return boxes


def faults(url: str, box: str) -> dict[str, object]:
    """Every fault switch of a box and where it stands."""
    return _ask(url, "GET", f"/boxes/{quote(box, safe='')}/faults")


def set_fault(url: str, box: str, name: str, on: bool | float) -> dict[str, object]:
    """Turn a fault switch; returns all switches of the box."""
    return _ask(url, "PUT", f"/boxes/{quote(box, safe='')}/faults/{quote(name, safe='')}", {"on": on})


def panel(url: str, box: str, act: str, **args: object) -> dict[str, object]:
    """Play somebody's hand on the front panel; returns the truth afterwards."""
    truth_ = _ask(url, "POST", f"/boxes/{quote(box, safe='')}/panel/{quote(act, safe='')}", args)["truth"]
    assert isinstance(truth_, dict)
    return truth_


def truth(url: str, box: str) -> dict[str, object]:
    """What is so, whatever the box says."""
    truth_ = _ask(url, "GET", f"/boxes/{quote(box, safe='')}")["truth"]
    assert isinstance(truth_, dict)
    return truth_


def store(url: str, box: str) -> list[dict[str, object]]:
    """The files of a box's clip store: `path`, `bytes`, `modified` (UTC, yyyymmddhhmmss), `identity` of its bytes."""
    files = _ask(url, "GET", f"/boxes/{quote(box, safe='')}/store")["files"]
    assert isinstance(files, list)
    return files


def wire(url: str, box: str, since: int = 0) -> list[dict[str, object]]:
    """The wire log after entry `since`: `n`, `at_s`, `client`, `way`, `text`."""
    entries = _ask(url, "GET", f"/boxes/{quote(box, safe='')}/wire?since={since}")["entries"]
    assert isinstance(entries, list)
    return entries


def clear_wire(url: str, box: str) -> None:
    """Empty the wire log; its numbers go on."""
    _ask(url, "DELETE", f"/boxes/{quote(box, safe='')}/wire")


def _ask(url: str, method: str, path: str, body: object = None) -> dict[str, object]:
    """One request.

    Raises: DoorError: no answer in 5 s, or a refusal; the door's own sentence.
    """
    where = urlsplit(url)
    if where.scheme != "http" or not where.hostname:
        raise DoorError(f"{url!r} is no door of simulators. It looks like http://127.0.0.1:8480.")
    line = http.client.HTTPConnection(where.hostname, where.port or 80, timeout=TIMEOUT_S)
    try:
        line.request(method, path, None if body is None else json.dumps(body), {"Content-Type": "application/json"})
        reply = line.getresponse()
        answer = json.loads(reply.read())
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise DoorError(f"No simulator's door answers at {url} ({error}). Start the simulators first.") from error
    finally:
        line.close()
    if not isinstance(answer, dict):
        raise DoorError(f"The door at {url} answers something else than a simulator would.")
    if reply.status >= 400:
        raise DoorError(str(answer.get("error", reply.reason)))
    return answer

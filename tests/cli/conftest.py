import time
from collections.abc import Iterator

import pytest

from tests.cli.stub import Stub, serving


@pytest.fixture
def stub(monkeypatch: pytest.MonkeyPatch) -> Iterator[Stub]:
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.setenv("COLUMNS", "100")
    time.tzset()
    with serving() as stub:
        yield stub
    monkeypatch.undo()
    time.tzset()

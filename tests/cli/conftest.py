import time
from collections.abc import Iterator

import pytest
import structlog

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


@pytest.fixture(autouse=True)
def log_as_before() -> Iterator[None]:
    """A verb sets the log up for its whole process; here the process goes on."""
    yield
    structlog.reset_defaults()

"""A hall that plays, and a browser that looks at its page."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.desk.browser import CHROMIUM, Looks
from tests.desk.hall import Hall
from tests.stories.studio import Studio


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """Debian's browser; one for all tests of a file, since its own loop runs in this thread as long as it is open."""
    assert shutil.which(CHROMIUM), "The page is looked at in Debian's chromium: apt-get install chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which(CHROMIUM), args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def shared_studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    with Studio(tmp_path_factory.mktemp("hall")) as studio:
        studio.start()
        yield studio


@pytest.fixture
def hall(shared_studio: Studio) -> Iterator[Hall]:
    """The demo hall at rest, without faults; one daemon for all tests that leave it alive."""
    hall = Hall(shared_studio)
    yield hall
    hall.calm()


@pytest.fixture
def own_hall(tmp_path: Path) -> Iterator[Hall]:
    """A hall whose daemon may be frozen and killed."""
    with Studio(tmp_path) as studio:
        studio.start()
        yield Hall(studio)


@pytest.fixture(scope="module")
def closed_hall(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hall]:
    with Studio(tmp_path_factory.mktemp("closed")) as studio:
        studio.start()
        yield Hall(studio).close()


@pytest.fixture
def people(closed_hall: Hall) -> Iterator[Hall]:
    """The hall with accounts, at rest; one daemon for all tests of a file."""
    yield closed_hall
    closed_hall.calm()


@pytest.fixture
def looks(chromium: Browser) -> Iterator[Looks]:
    """Opens pages; closes them."""
    opened = Looks(chromium)
    yield opened
    opened.close()

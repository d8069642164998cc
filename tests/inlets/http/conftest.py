"""A house of toy boxes with its door open, and a client in front of it."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from stagectl.inlets.http.server import HttpServer, serve
from stagectl.shoot.scenes import Scenes
from tests.house import Toys, toy_house

API = "/api/v1"
SCENE = """\
scene: roll everything
for: operator
with:
  title: {about: name of the take, default: Rehearsal}
steps:
  - {do: takes roll, with: {name: "{title}"}}
"""
QUESTION = """\
scene: stand clear
steps:
  - {ask: "Does everyone stand clear?", of: operator, within: 20 s}
"""


@dataclass
class Front:
    """What a test has in its hands."""

    toys: Toys
    server: HttpServer
    session: aiohttp.ClientSession
    seen: list[str] = field(default_factory=list)

    async def get(self, path: str, **headers: str) -> tuple[int, Any]:
        """Status and JSON of a GET below the API, or of an absolute path."""
        async with self.session.get(path if path.startswith("/") else f"{API}/{path}", headers=headers) as answer:
            return answer.status, await answer.json(content_type=None)

    async def post(self, path: str, body: Any = None, **headers: str) -> tuple[int, Any]:
        """Status and JSON of a POST below the API."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        async with self.session.post(f"{API}/{path}", json=body, headers=named) as answer:
            return answer.status, await answer.json(content_type=None)


@asynccontextmanager
async def opened(folder: Path) -> AsyncIterator[Front]:
    """A house of toy boxes with its door open; `folder` holds its scenes and data."""
    scenes_at = folder / "scenes"
    scenes_at.mkdir()
    (scenes_at / "roll-everything.yaml").write_text(SCENE)
    (scenes_at / "stand-clear.yaml").write_text(QUESTION)
    (scenes_at / "broken.yaml").write_text("scene: broken\nsteps: []\n")
    async with toy_house(folder / "data") as toys:
        scenes = Scenes(toys.house, scenes_at)
        scenes.load()
        server = await serve(toys.house, "127.0.0.1", 0, scenes=scenes)
        try:
            async with aiohttp.ClientSession(server.url) as session:
                yield Front(toys, server, session)
        finally:
            await server.stop()
            await scenes.close()


@pytest.fixture
async def front(tmp_path: Path) -> AsyncIterator[Front]:
    async with opened(tmp_path) as made:
        yield made

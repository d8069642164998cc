"""A house of toy boxes with its door open, and a client in front of it."""

from collections.abc import AsyncIterator
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


@pytest.fixture
async def front(tmp_path: Path) -> AsyncIterator[Front]:
    folder = tmp_path / "scenes"
    folder.mkdir()
    (folder / "roll-everything.yaml").write_text(SCENE)
    (folder / "stand-clear.yaml").write_text(QUESTION)
    (folder / "broken.yaml").write_text("scene: broken\nsteps: []\n")
    async with toy_house(tmp_path / "data") as toys:
        scenes = Scenes(toys.house, folder)
        scenes.load()
        server = await serve(toys.house, "127.0.0.1", 0, scenes=scenes)
        async with aiohttp.ClientSession(server.url) as session:
            yield Front(toys, server, session)
        await server.stop()
        await scenes.close()

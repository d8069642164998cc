"""What does a daemon weigh that does nothing? The libraries that ours imports, and one door that answers.

python -m bench.floor_empty PORT
"""

import asyncio
import sys

import aiomqtt  # noqa: F401 - imported for its weight
import pydantic  # noqa: F401 - likewise
import structlog  # noqa: F401 - likewise
from aiohttp import web


async def _alive(_: web.Request) -> web.Response:
    return web.json_response({"alive": True})


async def main(port: int) -> None:
    app = web.Application()
    app.router.add_get("/livez", _alive)
    runner = web.AppRunner(app, access_log=None)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", port).start()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1])))

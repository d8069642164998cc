"""How late is a loop that has nothing to do, on this machine and just now? It speaks `bench.inside`, with no door.

python -m bench.floor_idle      prints 0
"""

import asyncio

from bench.inside import Inside


async def main() -> None:
    await Inside(0).until_gone()


if __name__ == "__main__":
    asyncio.run(main())

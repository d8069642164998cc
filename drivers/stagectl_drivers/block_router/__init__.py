"""How is a block router driven? `BOX` is what its entry point names."""

from typing import Final

from stagectl.driverkit.driver import BoxKind
from stagectl.model.capabilities.router import ROUTER
from stagectl_drivers.block_router.codec import BlockRouterCodec
from stagectl_drivers.block_router.driver import BlockRouterDriver

BOX: Final = BoxKind(
    name="block-router",
    capability=ROUTER,
    port=9990,
    make=lambda options: BlockRouterDriver(),
    codec=lambda options: BlockRouterCodec(),
    options={},
    about="A matrix router that speaks in text blocks: routes, names and locks of its outputs.",
)

__all__ = ["BOX", "BlockRouterCodec", "BlockRouterDriver"]

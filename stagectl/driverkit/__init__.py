"""How do I add a box? All that a driver author imports."""

from stagectl.driverkit.driver import BoxKind, Codec, Driver, Look, Reply
from stagectl.model.board import BoardWriter
from stagectl.model.errors import DeviceError, ProtocolError, RefusedError

__all__ = ["BoardWriter", "BoxKind", "Codec", "DeviceError", "Driver", "Look", "ProtocolError", "RefusedError", "Reply"]

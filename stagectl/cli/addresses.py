"""How is an address written?"""

import ipaddress
from typing import Any

import click


class Address(click.ParamType[tuple[str, int]]):
    """host:port, as an option."""

    name = "host:port"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, int]:
        if isinstance(value, tuple):
            return value
        host, colon, port = str(value).rpartition(":")
        if not (colon and host and port.isascii() and port.isdigit() and len(port) < 6 and int(port) < 65536):
            self.fail(f'"{value}" is no address. Write host:port, such as 127.0.0.1:8420; port 0 takes a free one.')
        return host.removeprefix("[").removesuffix("]"), int(port)


def written(host: str, port: int) -> str:
    """As people write it: "127.0.0.1:8420", "[::1]:8420"."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def is_loopback(host: str) -> bool:
    """Does it mean this machine alone?"""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"

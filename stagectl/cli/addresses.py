"""How is an address written, and is it free?"""

import ipaddress
import socket
from collections.abc import Callable
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


def free(host: str, port: int) -> bool:
    """Can a server listen there now?"""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, kind, protocol, _, address = found[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except OSError:
        return False
    return True


def or_free(host: str, port: int, tell: Callable[[str], None], what: str) -> tuple[str, int]:
    """The address, or port 0 beside it if it is taken; `tell` is told in a sentence."""
    if port == 0 or free(host, port):
        return host, port
    tell(f"{what}: {written(host, port)} is taken, so a free port is used.")
    return host, 0

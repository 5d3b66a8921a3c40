"""Where the page may listen: an address of this machine that is not reachable from the internet."""

from __future__ import annotations

import ipaddress
import socket
from contextlib import closing
from typing import Final

DEFAULT_PORT: Final = 8433
_SOMEWHERE_PRIVATE: Final = ("10.254.254.254", 9)
"""Only asked for the way to it; nothing is sent."""


class BindAddressError(ValueError):
    """What is wrong with an address, one line."""


def parse(text: str) -> tuple[str, int]:
    """ADDRESS:PORT, ADDRESS or PORT; what is left out is chosen.

    Raises
    ------
    BindAddressError
        Where it is no address of a private network (RFC 1918, RFC 4193, link-local, loopback), or
        no port.
    """
    host, port = _split(text.strip())
    if not 0 <= port <= 65535:
        raise BindAddressError(f"{text}: a port is a number up to 65535")
    if not host:
        return own_address(), port
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        raise BindAddressError(f"{text}: give an IP address of this machine") from None
    if address.is_unspecified:
        raise BindAddressError(f"{text}: choose one address: the page never listens on all of them")
    if not (address.is_private or address.is_link_local or address.is_loopback):
        raise BindAddressError(f"{text}: the page is for private networks, this address is public")
    return str(address), port


def own_address() -> str:
    """This machine's address on its private network; loopback where it has none."""
    with closing(socket.socket(socket.AF_INET, socket.SOCK_DGRAM)) as probe:
        try:
            probe.connect(_SOMEWHERE_PRIVATE)
            found = str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
    return found if ipaddress.ip_address(found).is_private else "127.0.0.1"


def authority(host: str, port: int) -> str:
    """Host and port as they stand in a URL."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def _split(text: str) -> tuple[str, int]:
    if text.startswith("["):
        host, _, port = text[1:].partition("]")
        port = port.removeprefix(":")
    elif text.count(":") > 1:
        host, port = text, ""
    elif ":" in text:
        host, _, port = text.partition(":")
    else:
        host, port = ("", text) if text.isdecimal() else (text, "")
    if port and not (port.isdecimal() and len(port) < 6):
        raise BindAddressError(f"{text}: a port is a number up to 65535")
    return host, int(port) if port else DEFAULT_PORT

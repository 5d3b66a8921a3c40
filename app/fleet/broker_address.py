"""Where the broker is and what a cart is called there: mqtt://host:port/site/cart.

Name and password never stand in an address: they come from a file or from the environment.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

PORT: Final = 1883
TLS_PORT: Final = 8883
"""Registered with IANA for MQTT and for MQTT over TLS."""
USER: Final = "TRACKWARDEN_MQTT_USER"
PASSWORD: Final = "TRACKWARDEN_MQTT_PASSWORD"
LOGIN: Final = "TRACKWARDEN_MQTT_LOGIN"
"""A file with the name in its first line and the password in its second."""
CA: Final = "TRACKWARDEN_MQTT_CA"
"""A PEM file with the authority that signed the broker's certificate, else the system's."""
_PART: Final = re.compile(r"[^/+#$\x00-\x1f\x7f]{1,60}")


class BrokerAddressError(ValueError):
    """What is wrong with an address, one line."""


@dataclass(frozen=True, slots=True)
class Broker:
    """A broker and a place in its topics; `cart` is empty for the whole site."""

    host: str
    port: int
    tls: bool
    site: str
    cart: str = ""


def parse(text: str, *, cart: bool) -> Broker:
    """The address of a cart, or of a site.

    Raises
    ------
    BrokerAddressError
        Where it is neither, or holds a name and password.
    """
    shape = "mqtt://HOST/SITE/CART" if cart else "mqtt://HOST/SITE"
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError:
        raise BrokerAddressError(f"{text}: give {shape}") from None
    if "@" in parts.netloc:
        raise BrokerAddressError(f"no name or password in the address: put them in ${LOGIN}")
    names = parts.path.strip("/").split("/")
    if parts.scheme not in ("mqtt", "mqtts") or not host or parts.query or parts.fragment:
        raise BrokerAddressError(f"{text}: give {shape} (mqtts for TLS)")
    if len(names) != 1 + cart or not all(_PART.fullmatch(name) for name in names):
        raise BrokerAddressError(f"{text}: give {shape}, names without + # $")
    tls = parts.scheme == "mqtts"
    usual = TLS_PORT if tls else PORT
    return Broker(host, port or usual, tls, names[0], names[1] if cart else "")


def site_of(address: str) -> str:
    """The address of the whole site that a cart's address belongs to; a site's is its own.

    Raises
    ------
    BrokerAddressError
        Where it is neither.
    """
    try:
        parse(address, cart=False)
    except BrokerAddressError:
        parse(address, cart=True)
        return address.rstrip("/").rpartition("/")[0]
    return address


@dataclass(frozen=True, slots=True)
class BrokerLogin:
    """Files that a person chose in the settings; where they are empty the environment counts.

    login : name in its first line, password in its second
    ca : PEM, the authority that signed the broker's certificate, else the system's
    """

    login: str = ""
    ca: str = ""

    def name_and_password(self) -> tuple[str, str] | None:
        """Name and password for the broker; None where there are none.

        Raises
        ------
        OSError
            Where the file can't be read.
        """
        path = self.login or os.environ.get(LOGIN)
        if path:
            try:
                lines = [*Path(path).read_text(encoding="utf-8").splitlines(), "", ""]
            except UnicodeDecodeError as error:
                raise OSError(f"{path}: no text: name and password in two lines") from error
            return lines[0], lines[1]
        user = os.environ.get(USER)
        return None if not user else (user, os.environ.get(PASSWORD, ""))

    def authority(self) -> str | None:
        """The file of the authority; None for those that the system trusts."""
        return self.ca or os.environ.get(CA) or None


FROM_ENVIRONMENT: Final = BrokerLogin()
"""Nobody chose a file."""

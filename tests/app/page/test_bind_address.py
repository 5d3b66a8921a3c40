"""Only addresses of private networks, and one at a time."""

from __future__ import annotations

import ipaddress

import pytest

from app.page.bind_address import (
    DEFAULT_PORT,
    BindAddressError,
    authority,
    own_address,
    parse,
)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("192.168.7.20:9000", ("192.168.7.20", 9000)),
        ("10.1.2.3", ("10.1.2.3", DEFAULT_PORT)),
        ("127.0.0.1:0", ("127.0.0.1", 0)),
        ("[fd00::5]:9000", ("fd00::5", 9000)),
        ("fe80::1", ("fe80::1", DEFAULT_PORT)),
    ],
)
def test_private_addresses_are_taken(text: str, wanted: tuple[str, int]) -> None:
    """RFC 1918, RFC 4193, link-local and loopback, with or without a port."""
    assert parse(text) == wanted


@pytest.mark.parametrize(
    "text",
    [
        *("8.8.8.8:80", "[2a00:1450::5]:80", "0.0.0.0:80", "[::]:80", "cart.example:80"),
        *("10.0.0.1:99999", "10.0.0.1:x", "10.0.0.999", "10.0.0.1:-1", "::1:2:x"),
    ],
)
def test_anything_else_is_refused(text: str) -> None:
    """Public addresses, all addresses at once, names, and what is no address."""
    with pytest.raises(BindAddressError, match=r"\S"):
        parse(text)


@pytest.mark.parametrize("text", ["", ":", ":9000", "9000"])
def test_what_is_left_out_is_chosen(text: str) -> None:
    """This machine's private address, else loopback."""
    host, port = parse(text)
    assert host == own_address()
    assert ipaddress.ip_address(host).is_private
    assert port == (9000 if "9000" in text else DEFAULT_PORT)


def test_addresses_as_urls_write_them() -> None:
    """IPv6 in brackets, RFC 3986."""
    assert authority("10.0.0.1", 80) == "10.0.0.1:80"
    assert authority("fd00::5", 80) == "[fd00::5]:80"

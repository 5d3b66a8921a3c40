"""Addresses of brokers, sites and carts; where the login comes from."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.fleet.broker_address import (
    CA,
    LOGIN,
    PASSWORD,
    USER,
    Broker,
    BrokerAddressError,
    BrokerLogin,
    parse,
    site_of,
)


def test_a_cart_and_a_site() -> None:
    """The ports are those registered with IANA: 1883, and 8883 for TLS."""
    assert parse("mqtt://10.0.0.2/belfry/main", cart=True) == Broker(
        "10.0.0.2", 1883, False, "belfry", "main"
    )
    assert parse("mqtts://broker.lan:9999/belfry", cart=False) == Broker(
        "broker.lan", 9999, True, "belfry"
    )
    assert parse("mqtts://[fd00::5]/a b/c", cart=True).port == 8883


@pytest.mark.parametrize(
    "text",
    [
        *("", "belfry", "http://h/a/b", "mqtt:///a/b", "mqtt://h/a", "mqtt://h/a/b/c", "mqtt://h"),
        *("mqtt://h/a/+", "mqtt://h/#/b", "mqtt://h/$SYS/b", "mqtt://h:x/a/b", "mqtt://h/a/b?c=d"),
        f"mqtt://h/a/{'x' * 61}",
    ],
)
def test_anything_else_is_refused(text: str) -> None:
    """Wildcards and system topics (MQTT 5, 4.7) are no names of carts."""
    with pytest.raises(BrokerAddressError, match="give"):
        parse(text, cart=True)


def test_a_cart_belongs_to_a_site() -> None:
    """The overview beside a cart is of its own site."""
    assert site_of("mqtts://h:9/belfry/main") == "mqtts://h:9/belfry"
    assert site_of("mqtt://h/belfry") == "mqtt://h/belfry"
    with pytest.raises(BrokerAddressError):
        site_of("")


def test_no_password_in_an_address() -> None:
    """Everybody on the machine can read a command line; the message does not repeat it."""
    with pytest.raises(BrokerAddressError) as refusal:
        parse("mqtt://mixer:secret@h/a/b", cart=True)
    assert "secret" not in str(refusal.value)


def test_the_login_comes_from_a_file_or_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file first; a name without a password is allowed."""
    for name in (LOGIN, USER, PASSWORD):
        monkeypatch.delenv(name, raising=False)
    assert BrokerLogin().name_and_password() is None
    monkeypatch.setenv(USER, "cart")
    assert BrokerLogin().name_and_password() == ("cart", "")
    monkeypatch.setenv(PASSWORD, "rope")
    assert BrokerLogin().name_and_password() == ("cart", "rope")
    (tmp_path / "login").write_text("other\nbell\n", "utf-8")
    monkeypatch.setenv(LOGIN, str(tmp_path / "login"))
    assert BrokerLogin().name_and_password() == ("other", "bell")
    monkeypatch.setenv(LOGIN, str(tmp_path / "missing"))
    with pytest.raises(OSError, match="missing"):
        BrokerLogin().name_and_password()


def test_a_file_that_was_chosen_outranks_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the settings; one that is no text, or not there, is one clear line."""
    monkeypatch.setenv(USER, "other")
    monkeypatch.setenv(CA, "/there")
    chosen = tmp_path / "login"
    chosen.write_text("cart\nsecret\n", encoding="utf-8")
    login = BrokerLogin(str(chosen), "/here")
    assert login.name_and_password() == ("cart", "secret")
    assert (login.authority(), BrokerLogin().authority()) == ("/here", "/there")
    chosen.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(OSError, match="no text"):
        login.name_and_password()
    chosen.unlink()
    with pytest.raises(OSError, match="No such file"):
        login.name_and_password()

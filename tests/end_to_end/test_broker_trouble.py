"""Brokers that hang, refuse, vanish or start anew, and carts that do what they should not."""

from __future__ import annotations

import gc
import json
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from app.fleet.broker_address import BrokerLogin
from app.page import certificate
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from tests.support.broker import RunningBroker, broker, require_broker
from tests.support.played_cart import ALARMS, Cart, look, reader_of, until
from tests.support.qt import fake_client

pytestmark = pytest.mark.end_to_end

MOST_S = 0.25
"""A step of a publisher that makes all its messages anew, on a busy machine."""


@pytest.fixture
def server() -> Iterator[RunningBroker]:
    """A broker of its own."""
    require_broker()
    with broker() as running:
        yield running


def test_a_broker_that_hangs_holds_up_no_cart(server: RunningBroker) -> None:
    """Its connections stay open and nothing goes through; afterwards all is right again."""
    cart = Cart(server.port, "main")
    with reader_of(server) as reader:
        until(lambda: look(reader)[0].get("main") == "", cart)
        server.hang()
        cart.alarms, cart.slowest_s = ALARMS, 0.0
        until(lambda: cart.link.problem, cart, seconds=30.0)
        assert cart.slowest_s < MOST_S
        assert look(reader)[0]["main"] == "silent"
        until(lambda: reader.problem, cart, seconds=30.0)
        server.go_on()
        until(lambda: look(reader) == ({"main": ""}, 3), cart, seconds=30.0)
    cart.end()


def test_a_port_that_takes_connections_and_says_nothing() -> None:
    """No broker at all behind it: no step waits, and it is said."""
    with closing(socket.create_server(("127.0.0.1", 0))) as mute:
        cart = Cart(mute.getsockname()[1], "main")
        until(lambda: cart.publisher.own_topics() and cart.link.problem, cart)
        for _ in range(100):
            cart.step()
            time.sleep(0.005)
        assert cart.link.problem == "the broker does not answer"
        assert cart.slowest_s < MOST_S
        cart.link.close()


def test_a_broker_that_refuses_is_said(tmp_path: Path) -> None:
    """A wrong password is one line; with the right one, from a file, all is well, over TLS too."""
    require_broker()
    accounts, login = tmp_path / "accounts", tmp_path / "login"
    subprocess.run(["mosquitto_passwd", "-c", "-b", accounts, "cart", "rope"], check=True)
    accounts.chmod(0o644)
    pem = certificate.make(tmp_path, "127.0.0.1")
    config = [f"password_file {accounts}", "allow_anonymous false", "user root"]
    tls = [f"certfile {pem}", f"keyfile {pem}"]
    for lines, encrypted in ((config, False), (config[:2] + config[2:] + tls, True)):
        with broker(*lines) as server:
            login.write_text("cart\nwrong\n", "utf-8")
            wrong = Cart(server.port, "main", BrokerLogin(str(login), str(pem)), encrypted)
            until(lambda: "refuses: not authorized" in wrong.link.problem)  # noqa: B023
            wrong.link.close()
            login.write_text("cart\nrope\n", "utf-8")
            secret = BrokerLogin(str(login), str(pem))
            cart = Cart(server.port, "main", secret, encrypted)
            with reader_of(server, secret, encrypted) as reader:
                until(lambda: look(reader)[0].get("main") == "", cart)
            cart.end()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_broker_with_a_foreign_certificate_gets_nothing(tmp_path: Path) -> None:
    """Nothing is sent to whoever the crew's authority did not sign.

    The MQTT library leaves a socket open whose handshake failed; the collector closes it.
    """
    require_broker()
    pem = certificate.make(tmp_path, "127.0.0.1")
    lines = ("allow_anonymous true", "user root", f"certfile {pem}", f"keyfile {pem}")
    (tmp_path / "other").mkdir()
    other = certificate.make(tmp_path / "other", "127.0.0.1")
    with broker(*lines) as server:
        cart = Cart(server.port, "main", BrokerLogin(ca=str(other)), tls=True)
        end = time.monotonic() + 3.0
        while time.monotonic() < end:
            cart.step()
            assert not cart.link.connected
            time.sleep(0.02)
        cart.link.close()
        del cart
        gc.collect()


def test_a_restart_in_the_flood_ends_right(server: RunningBroker) -> None:
    """Five hundred alarms in ten seconds over ten carts; the broker dies and comes back in it."""
    carts = [Cart(server.port, f"cart{n}") for n in range(10)]
    many = tuple(_alarm(n) for n in range(50))
    with reader_of(server) as reader:
        until(lambda: len(look(reader)[0]) == 10, *carts)
        began, down = time.monotonic(), False
        while (passed_s := time.monotonic() - began) < 10.0:
            for cart in carts:
                cart.alarms = many[: round(5 * passed_s)]
                cart.step()
            if not down and passed_s > 4.0:
                down = True
                server.stop()
            if down and passed_s > 6.0 and server.process and server.process.poll() is not None:
                server.start()
            time.sleep(0.05)
        for cart in carts:
            cart.alarms = many
        carts[0].alarms = many[:7]
        until(
            lambda: look(reader)[1] == 9 * 50 + 7 and set(look(reader)[0].values()) == {""},
            *carts,
            seconds=30.0,
        )
    for cart in carts:
        cart.end()


def _alarm(n: int) -> Alarm:
    incident = fake_client.incident(n + 1, n % 12 + 1, Fault.HUM, Severity.RED, 0.0)
    return Alarm(incident, AlarmState.UNACKNOWLEDGED)


def test_two_carts_with_one_name_and_clocks_an_hour_apart(server: RunningBroker) -> None:
    """Both are shown and said so; neither loses its alarms, and ages are each its own."""
    one, two = Cart(server.port, "main"), Cart(server.port, "main", offset_s=3600.0)
    with reader_of(server) as reader:
        one.alarms, two.alarms = ALARMS, ALARMS
        until(lambda: look(reader)[1] == 6, one, two)
        carts = reader.carts.carts(time.monotonic())
        assert [cart.problem for cart in carts] == ["two carts have this name"] * 2
        two.end()
        until(lambda: look(reader) == ({"main": ""}, 3), one)
    one.end()


def test_repeated_late_and_left_over_messages_end_right(server: RunningBroker) -> None:
    """What somebody else says again, late, and what an earlier run left retained."""
    earlier = Cart(server.port, "main")
    earlier.alarms = ALARMS
    with reader_of(server) as reader:
        until(lambda: look(reader)[1] == 3, earlier)
        earlier.die()
        cart = Cart(server.port, "main")
        cart.alarms = ALARMS[:1]
        until(lambda: look(reader) == ({"main": ""}, 1), cart, seconds=30.0)
        echo = Cart(server.port, "echo").link
        until(lambda: echo.connected, cart)
        run = cart.publisher.run
        late = {"schema": 1, "run": run, "seq": 1, "alive": True, "alarms": ["99"]}
        echo.publish("belfry/main/state", json.dumps(late).encode(), retain=True)
        echo.publish("belfry/main/state", b"{", retain=True)
        echo.publish(f"belfry/main/alarm/{run}-99", json.dumps(late).encode(), retain=False)
        for _ in range(100):
            cart.step()
            time.sleep(0.02)
        assert look(reader) == ({"main": ""}, 1)
        with reader_of(server) as later:
            # What is retained comes topic by topic, in any order.
            until(lambda: look(later) == ({"main": ""}, 1), cart, seconds=20.0)
        echo.close()
    cart.end()

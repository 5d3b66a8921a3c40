"""Publishers and a reader at a real broker."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.broker import RunningBroker, broker, require_broker
from tests.support.played_cart import ALARMS, Cart, look, reader_of, until
from tests.support.readme import README

pytestmark = pytest.mark.end_to_end


@pytest.fixture(scope="module")
def server() -> Iterator[RunningBroker]:
    """One broker for all."""
    require_broker()
    with broker() as running:
        yield running


def test_an_alarm_is_on_the_head_board_within_a_second(server: RunningBroker) -> None:
    """And gone when it is over; a reader who comes later sees the same."""
    cart = Cart(server.port, "alarm")
    with reader_of(server) as reader:
        until(lambda: "alarm" in look(reader)[0], cart)
        cart.alarms = ALARMS
        assert until(lambda: look(reader)[1] == 3, cart) < 1.0
        with reader_of(server) as late:
            until(lambda: look(late)[1] == 3, cart)
        cart.alarms = ()
        assert until(lambda: look(reader)[1] == 0, cart) < 1.0
    cart.end()


def test_a_dead_cart_is_gone_within_five_seconds(server: RunningBroker) -> None:
    """The broker speaks its last will."""
    cart = Cart(server.port, "dead")
    with reader_of(server) as reader:
        until(lambda: look(reader)[0].get("dead") == "", cart)
        cart.die()
        took_s = until(lambda: look(reader)[0].get("dead") not in ("", None))
        assert took_s < 5.5
        assert look(reader)[0]["dead"] == "watch gone"


def test_a_broker_that_restarts_is_told_everything_anew(server: RunningBroker) -> None:
    """It forgot all; carts and overview come back by themselves and end right."""
    first, second = Cart(server.port, "one"), Cart(server.port, "two")
    with reader_of(server) as reader:
        first.alarms = ALARMS
        until(lambda: look(reader)[1] == 3, first, second)
        server.stop()
        second.alarms = ALARMS[:3]
        first.alarms = ()
        for _ in range(25):
            first.step()
            second.step()
            time.sleep(0.02)
        server.start()
        until(
            lambda: look(reader)[1] == 2 and {"one", "two"} <= look(reader)[0].keys(),
            first,
            second,
            seconds=20.0,
        )
        until(lambda: look(reader)[0]["one"] == look(reader)[0]["two"] == "", first, second)
    for cart in (first, second):
        assert cart.slowest_s < 0.25
        cart.end()


def test_a_broker_that_is_not_there_costs_the_cart_nothing() -> None:
    """No call of a publisher waits for a network."""
    require_broker()
    with broker() as running:
        port = running.port
    cart = Cart(port, "alone")
    cart.alarms = ALARMS
    for _ in range(60):
        cart.step()
        time.sleep(0.01)
    assert cart.slowest_s < 0.1
    cart.link.close()


def test_the_readmes_example_follows_the_alarms(tmp_path: Path) -> None:
    """As it stands there, with the test's broker in place of the crew's."""
    require_broker()
    with broker() as running:
        follow_the_alarms(running, tmp_path)


def follow_the_alarms(server: RunningBroker, tmp_path: Path) -> None:
    """The lamp goes on with an alarm that nobody covers, and off with its end."""
    (text,) = re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    script = tmp_path / "lamp.py"
    script.write_text(text.replace('"192.168.7.2"', f'"127.0.0.1", {server.port}'), "utf-8")
    out = tmp_path / "said.txt"
    cart = Cart(server.port, "lamp")
    with out.open("wb") as said:
        lamp = subprocess.Popen([sys.executable, str(script)], stdout=said, stderr=said)
    try:
        cart.alarms = ALARMS
        until(lambda: "LAMP ON" in out.read_text("utf-8"), cart)
        cart.alarms = ()
        until(lambda: out.read_text("utf-8").endswith("lamp off\n"), cart)
    finally:
        lamp.kill()
        lamp.wait()
        cart.end()

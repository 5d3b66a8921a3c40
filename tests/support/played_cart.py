"""Carts that publish made-up watches at a real broker, and the overview that reads them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from app.fleet.broker_address import FROM_ENVIRONMENT, Broker, BrokerLogin
from app.fleet.mqtt_link import MqttLink
from app.fleet.publisher import CartPublisher
from app.fleet.site_reader import SiteReader
from engine.model.messages import Alarm
from tests.support.broker import RunningBroker
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
ALARMS = fake_client.tower_alarms()


class Cart:
    """A cart with a made-up watch, stepped by the test.

    offset_s : by so much its clock is ahead of this machine's
    """

    def __init__(
        self,
        port: int,
        name: str,
        login: BrokerLogin = FROM_ENVIRONMENT,
        tls: bool = False,
        offset_s: float = 0.0,
    ) -> None:
        where = Broker("127.0.0.1", port, tls, "belfry", name)
        self._offset_s = offset_s
        self.link = MqttLink(where, login)
        self.publisher = CartPublisher(self.link, where, False, time.monotonic)
        self.link.follow(self.publisher.overhear, self.publisher.own_topics())
        self.link.open(self.publisher.will())
        self.alarms: tuple[Alarm, ...] = ()
        self.slowest_s = 0.0

    def step(self) -> None:
        """One turn of its process."""
        began = time.perf_counter()
        now_s = fake_client.NOW_S + time.monotonic() % 1000 + self._offset_s
        shot = fake_client.snapshot(PLAN, self.alarms, now_s)
        made = time.perf_counter()
        self.publisher.take_in(fake_client.watch(PLAN), shot)
        self.publisher.step()
        self.slowest_s = max(self.slowest_s, time.perf_counter() - made)
        assert made >= began

    def end(self) -> None:
        """In good order."""
        self.publisher.goodbye()
        self.link.close()

    def die(self) -> None:
        """As a machine without power: the connection ends without a word."""
        sock = self.link.client.socket()
        assert sock is not None
        self.link.client.loop_stop()
        sock.close()


@contextmanager
def reader_of(
    server: RunningBroker, login: BrokerLogin = FROM_ENVIRONMENT, tls: bool = False
) -> Iterator[SiteReader]:
    """The overview of that broker."""
    reader = SiteReader(Broker("127.0.0.1", server.port, tls, "belfry"), login)
    try:
        yield reader
    finally:
        reader.close()


def until(holds: Callable[[], object], *carts: Cart, seconds: float = 10.0) -> float:
    """Let carts work until that is true; returns how long it took, s."""
    began = time.monotonic()
    while not holds():
        assert time.monotonic() - began < seconds, "waited in vain"
        for cart in carts:
            cart.step()
        time.sleep(0.02)
    return time.monotonic() - began


def look(reader: SiteReader) -> tuple[dict[str, str], int]:
    """Problems by cart, and how many alarms there are."""
    reader.take_in()
    now = time.monotonic()
    return {c.name: c.problem for c in reader.carts.carts(now)}, len(reader.carts.alarms(now))

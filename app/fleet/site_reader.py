"""Follows a site's messages at the broker and puts all carts together."""

from __future__ import annotations

import queue
import time
from typing import Final

from app.fleet.all_carts import AllCarts
from app.fleet.broker_address import FROM_ENVIRONMENT, Broker, BrokerLogin
from app.fleet.mqtt_link import MqttLink

MOST_WAITING: Final = 20_000
GRACE_S: Final = 2.0
"""So long nothing is said of a broker that was not reached yet."""
MOST_AT_ONCE: Final = 2000
"""Messages of one step, so that a flood holds up nobody who draws; ours."""


class SiteReader:
    """A subscription to a site; levels are not asked for, they are most of the traffic.

    Raises
    ------
    OSError
        Where a file of the login can't be read.
    """

    def __init__(self, broker: Broker, login: BrokerLogin = FROM_ENVIRONMENT) -> None:
        self.site = broker.site
        self.carts = AllCarts(broker.site)
        self._link = MqttLink(broker, login)
        self._waiting: queue.Queue[tuple[str, bytes, bool, float]] = queue.Queue(MOST_WAITING)
        self._link.follow(self._note, (f"{broker.site}/+/state", f"{broker.site}/+/alarm/+"))
        self._link.open()
        self._opened_at = time.monotonic()

    @property
    def connected(self) -> bool:
        """The broker answers."""
        return self._link.connected

    @property
    def problem(self) -> str:
        """Why the broker does not answer, one line; empty where it does, or just was asked."""
        fresh = time.monotonic() - self._opened_at < GRACE_S
        return "" if fresh else self._link.problem

    def take_in(self) -> bool:
        """Messages that came since the last call; whether there were any."""
        came = False
        for _ in range(MOST_AT_ONCE):
            try:
                topic, payload, retained, at = self._waiting.get_nowait()
            except queue.Empty:
                break
            self.carts.receive(topic, payload, at, retained)
            came = True
        return came

    def close(self) -> None:
        """Let go of the broker; may wait for the network."""
        self._link.close()

    def _note(self, topic: str, payload: bytes, retained: bool) -> None:
        try:
            self._waiting.put_nowait((topic, payload, retained, time.monotonic()))
        except queue.Full:  # state and alarms are made right by the next connection
            self._link.client.reconnect()

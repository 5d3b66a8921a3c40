"""A site of several carts whose messages a test makes up."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

from app.fleet.all_carts import AllCarts
from app.fleet.broker_address import Broker, BrokerLogin

FAULTS = (
    ("7 + 8", "Foreman", "silent", "red", True, "Pack 7 chest, pack 8 small of back."),
    ("9", "Boom scaffold", "muted", "red", False, "Wireless. Receiver B."),
    ("3", "Rigger main", "clipping", "amber", False, "Pack 3 left shoulder. Receiver A."),
)


class PlayedSite:
    """A reader whose messages the test makes up.

    clock : where given, the carts in `living` speak whenever they are listened to
    """

    site = "belfry"

    def __init__(self, clock: Callable[[], float] | None = None) -> None:
        self._clock = clock
        self.living: list[str] = []
        self.carts = AllCarts("belfry")
        self.problem = ""
        self.closed = False
        self.asked: list[tuple[Broker, BrokerLogin]] = []

    def __call__(self, broker: Broker, login: BrokerLogin) -> PlayedSite:
        """Be the reader of that site."""
        self.asked.append((broker, login))
        return self

    def take_in(self) -> bool:
        """Whoever lives says so."""
        if self._clock is not None:
            for cart in self.living:
                self.state(cart, self._clock())
        return bool(self.living)

    def close(self) -> None:
        """Nobody looks any more."""
        self.closed = True

    def state(self, cart: str, now: float, **more: Any) -> None:
        """A cart says how it stands."""
        said = {"schema": 1, "run": cart, "seq": round(now * 10) + 2, "alive": True, "tracks": 16}
        said |= {"title": "Raising the bell", "timecode": "20:42:11:07", "now_s": 100.0}
        self.carts.receive(f"belfry/{cart}/state", json.dumps(said | more).encode(), now)

    def alarm(self, cart: str, number: int, now: float, **more: Any) -> None:
        """A cart has an alarm."""
        numbers, name, fault, severity, bare, where = FAULTS[number % len(FAULTS)]
        said = {"schema": 1, "run": cart, "seq": number + 2, "numbers": numbers, "name": name}
        said |= {"fault": fault, "severity": severity, "uncovered": bare, "where": where}
        said |= {"since_s": 90.0 - 7 * number, "check": "Pack on and in range, mute, cable, patch."}
        topic = f"belfry/{cart}/alarm/{cart}-{number}"
        self.carts.receive(topic, json.dumps(said | more).encode(), now)


def played_site(now: float | None = None) -> PlayedSite:
    """Four carts: one silent, one with three faults, one with one that was seen, one calm.

    now : when they were heard; left out: by the steady clock, and they go on
    """
    site = PlayedSite(time.monotonic if now is None else None)
    now = time.monotonic() if now is None else now
    site.living = ["tower", "square", "bridge"]
    site.state("river", now - 40.0)
    for cart in site.living:
        site.state(cart, now)
    for n in range(3):
        site.alarm("tower", n, now)
    site.alarm("square", 1, now, seen=True, attended="Second assistant is on the way")
    return site

"""What the page shows of all carts, as plain JSON data; its own clock is the watch's time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, Protocol

from app.fleet.all_carts import SILENT, AllCarts, Cart, FleetAlarm
from app.fleet.overview_rows import cart_severity, cart_state, cart_words

Document = dict[str, Any]
SITE_KEYS: Final = ("site", "carts", "elsewhere")
STEADY_S: Final = 2.0
"""By so much a moment may jump with the network before it is told anew; ours."""
MOST_CARTS: Final = 60
MOST_ALARMS: Final = 120
"""A phone shows so many; how many more there are is said. Ours."""


class Site(Protocol):
    """The carts as the page follows them; `SiteReader` is one."""

    site: str
    carts: AllCarts

    @property
    def problem(self) -> str:
        """Why the broker does not answer; empty where it does."""
        ...

    def take_in(self) -> bool:
        """Messages that came since the last call."""
        ...


def site_document(site: Site, before: Mapping[str, Any], now: float, now_s: float) -> Document:
    """`site`, `carts` and `elsewhere` of the document.

    before : the document before, whose moments are kept where they are still right
    now, now_s : the same moment on this machine's clock and as the watch's time, s
    """
    carts, alarms = site.carts.carts(now), site.carts.alarms(now)
    more = len(alarms) - MOST_ALARMS
    known_carts, known = before.get("carts", {}), before.get("elsewhere", {})
    return {
        "site": {
            "name": site.site,
            "text": f"No broker: {site.problem}. This is old." if site.problem else "",
            "more": f"and {more} more" if more > 0 else "",
        },
        "carts": {
            f"c{cart.name}/{cart.run}": _cart(cart, n, known_carts, now_s)
            for n, cart in enumerate(carts[:MOST_CARTS])
        },
        "elsewhere": {
            f"a{alarm.key}": _alarm(alarm, n, known, now_s)
            for n, alarm in enumerate(alarms[:MOST_ALARMS])
        },
    }


def _cart(cart: Cart, order: int, before: Mapping[str, Any], now_s: float) -> Document:
    severity = cart_severity(cart)
    level = "none" if cart.problem or cart.uncovered else severity.word if severity else ""
    silent = cart.problem == SILENT
    made: Document = {
        "order": order,
        "name": cart.name,
        "title": cart.title,
        "level": level,
        "text": SILENT.upper() if silent else cart_words(cart),
        "more": " · ".join(filter(None, (f"{cart.tracks} tracks", cart_state(cart)))),
    }
    if silent:
        key = f"c{cart.name}/{cart.run}"
        made["since_s"] = _steady(now_s - cart.quiet_s, before.get(key))
    return made


def _alarm(alarm: FleetAlarm, order: int, before: Mapping[str, Any], now_s: float) -> Document:
    return {
        "order": order,
        "cart": alarm.cart,
        "name": f"{alarm.numbers} {alarm.name}".strip(),
        "fault": alarm.fault,
        "level": "none" if alarm.uncovered else "red" if alarm.red else "amber",
        "seen": alarm.seen,
        "where": alarm.where,
        "check": alarm.check,
        "help": alarm.attended,
        "since_s": _steady(now_s - alarm.age_s, before.get(f"a{alarm.key}")),
    }


def _steady(since_s: float, before: Mapping[str, Any] | None) -> float:
    known = None if before is None else before.get("since_s")
    if isinstance(known, float) and abs(known - since_s) < STEADY_S:
        return known
    return round(since_s, 1)

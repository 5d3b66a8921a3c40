"""All carts of a site in words: a line a cart, a line an alarm. Pure; terminal, window and phones
show the same."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from app.fleet.all_carts import SILENT, Cart, FleetAlarm
from app.style import wording
from engine.model.messages import Severity

CART_COLUMNS: Final = ("Cart", "How it stands", "Tracks", "Timecode", "What it watches")
ALARM_COLUMNS: Final = ("Cart", "Track", "Fault", "For", "Where, and what to check", "Who is on it")


@dataclass(frozen=True, slots=True)
class OverviewRow:
    """One line of either table.

    severity : None where nothing is wrong
    loud : nobody has seen it, or a cart that is gone: a solid field
    """

    key: str
    cells: tuple[str, ...]
    severity: Severity | None
    loud: bool


def problem_words(cart: Cart) -> str:
    """What is wrong with the cart itself."""
    return f"{SILENT} for {int(cart.quiet_s)} s" if cart.problem == SILENT else cart.problem


def cart_words(cart: Cart) -> str:
    """How it stands: what is wrong with itself, else how much is wrong on it."""
    if cart.problem:
        return problem_words(cart).upper()
    counts = f"{cart.red} red, {cart.amber} amber" if cart.red or cart.amber else "nothing wrong"
    return f"{cart.uncovered} WITHOUT BACKUP, {counts}" if cart.uncovered else counts


def cart_state(cart: Cart) -> str:
    """Drill or replay, break or standby; empty while a live input rolls."""
    what = "DRILL" if cart.drill else "" if cart.live else "replay"
    how = "break" if cart.on_break else "" if cart.rolling else "standby"
    return ", ".join(filter(None, (what, how)))


def cart_severity(cart: Cart) -> Severity | None:
    """A cart that is gone or silent is red by itself."""
    if cart.problem or cart.red or cart.uncovered:
        return Severity.RED
    return Severity.AMBER if cart.amber else None


def cart_row(cart: Cart) -> OverviewRow:
    """The cart's line."""
    known = not cart.problem or bool(cart.title)
    cells = (
        cart.name,
        " · ".join(filter(None, (cart_words(cart), cart_state(cart)))),
        str(cart.tracks) if known else "",
        cart.timecode[:8],
        cart.title,
    )
    loud = bool(cart.problem) or cart.uncovered > 0
    return OverviewRow(f"{cart.name}/{cart.run}", cells, cart_severity(cart), loud)


def alarm_severity(alarm: FleetAlarm) -> Severity:
    """Its priority."""
    return Severity.RED if alarm.red or alarm.uncovered else Severity.AMBER


def alarm_row(alarm: FleetAlarm) -> OverviewRow:
    """The alarm's line."""
    fault = f"NO BACKUP · {alarm.fault}" if alarm.uncovered else alarm.fault
    cells = (
        alarm.cart,
        f"{alarm.numbers} {alarm.name}".strip(),
        fault + (" · seen" if alarm.seen else ""),
        wording.lasted(alarm.age_s),
        " ".join(filter(None, (alarm.where, alarm.check))),
        alarm.attended,
    )
    severity = alarm_severity(alarm)
    loud = severity is Severity.RED and not alarm.seen
    return OverviewRow(alarm.key, cells, severity, loud)

"""`trackwarden overview`: all carts of a site in the terminal, worst first."""

from __future__ import annotations

import shutil
import signal
import sys
import time
from collections.abc import Sequence
from typing import Final

from app.fleet import broker_address
from app.fleet.all_carts import Cart, FleetAlarm
from app.fleet.broker_address import BrokerAddressError
from app.fleet.site_reader import SiteReader
from app.style import wording

STEP_S: Final = 0.25
DRAW_S: Final = 1.0
_CLEAR: Final = "\x1b[H\x1b[2J"


def overview(address: str) -> bool:
    """Show all carts until Ctrl+C; False where the address is wrong.

    On a terminal the whole is drawn anew once a second; else one line a change.
    """
    try:
        broker = broker_address.parse(address, cart=False)
    except BrokerAddressError as error:
        print(f"trackwarden: {error}", file=sys.stderr)
        return False
    reader = SiteReader(broker)
    leaving: list[int] = []
    before = signal.signal(signal.SIGINT, lambda *_: leaving.append(1))
    try:
        _follow(reader, broker.site, leaving)
    finally:
        signal.signal(signal.SIGINT, before)
        reader.close()
    return True


def _follow(reader: SiteReader, site: str, leaving: Sequence[int]) -> None:
    on_screen = sys.stdout.isatty()
    said: set[str] = set()
    drawn_at = -DRAW_S
    while not leaving:
        reader.take_in()
        now = time.monotonic()
        carts, alarms = reader.carts.carts(now), reader.carts.alarms(now)
        if on_screen and now - drawn_at >= DRAW_S:
            drawn_at = now
            height = shutil.get_terminal_size().lines - 1
            head = f"{site}" + ("" if reader.connected else "  NO BROKER: what stands here is old")
            lines = [head, *map(cart_line, carts), "", *(alarm_line(a, True) for a in alarms)]
            print(_CLEAR + "\n".join(lines[:height]), end="", flush=True)
        elif not on_screen:
            lines = [f"cart {c.name}: {c.problem or 'watching'}" for c in carts]
            lines += [alarm_line(a, False) for a in alarms]
            for line in [line for line in lines if line not in said]:
                print(line, flush=True)
            said = set(lines)
        time.sleep(STEP_S)


def cart_line(cart: Cart) -> str:
    """One cart in a line."""
    what = cart.problem.upper() or (
        f"{cart.red} red, {cart.amber} amber" if cart.red or cart.amber else "nothing wrong"
    )
    if cart.uncovered and not cart.problem:
        what = f"{cart.uncovered} WITHOUT BACKUP, {what}"
    state = "break" if cart.on_break else "" if cart.rolling else "standby"
    parts = (cart.name, cart.title, f"{cart.tracks} tracks", cart.timecode, state, what)
    return "  ".join(part for part in parts if part)


def alarm_line(alarm: FleetAlarm, aged: bool) -> str:
    """One alarm in a line: how urgent, cart, tracks, who, what, how long, where, what to check."""
    mark = "■ NO BACKUP" if alarm.uncovered else "■ RED" if alarm.red else "▲ amber"
    age = f" {wording.lasted(alarm.age_s)}" if aged else ""
    seen = " (seen)" if alarm.seen else ""
    rest = " ".join(part for part in (alarm.where, alarm.check, alarm.attended) if part)
    named = f"{alarm.numbers} {alarm.name}".strip()
    return f"{mark}  {alarm.cart}: {named}: {alarm.fault}{age}{seen}. {rest}".rstrip()

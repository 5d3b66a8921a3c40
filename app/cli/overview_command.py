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
from app.fleet.overview_rows import cart_state, cart_words
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
    try:
        reader = SiteReader(broker)
    except OSError as error:
        print(f"trackwarden: {error}", file=sys.stderr)
        return False
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
    printed_lines: set[str] = set()
    drawn_at = -DRAW_S
    while not leaving:
        reader.take_in()
        now = time.monotonic()
        carts, alarms = reader.carts.carts(now), reader.carts.alarms(now)
        if on_screen and now - drawn_at >= DRAW_S:
            drawn_at = now
            height = shutil.get_terminal_size().lines - 1
            broken = f"  NO BROKER ({reader.problem}): what stands here is old"
            head = site + (broken if reader.problem else "")
            lines = [head, *map(cart_line, carts), "", *(alarm_line(a, True) for a in alarms)]
            print(_CLEAR + "\n".join(lines[:height]), end="", flush=True)
        elif not on_screen:
            lines = [f"cart {c.name}: {c.problem or 'watching'}" for c in carts]
            lines += [] if not reader.problem else [f"NO BROKER: {reader.problem}"]
            lines += [alarm_line(a, False) for a in alarms]
            for line in [line for line in lines if line not in printed_lines]:
                print(line, flush=True)
            printed_lines = set(lines)
        time.sleep(STEP_S)


def cart_line(cart: Cart) -> str:
    """One cart in a line."""
    tracks = f"{cart.tracks} tracks"
    parts = (cart.name, cart.title, tracks, cart.timecode, cart_state(cart), cart_words(cart))
    return "  ".join(part for part in parts if part)


def alarm_line(alarm: FleetAlarm, aged: bool) -> str:
    """One alarm in a line: how urgent, cart, tracks, who, what, how long, where, what to check."""
    mark = "■ NO BACKUP" if alarm.uncovered else "■ RED" if alarm.red else "▲ amber"
    age = f" {wording.lasted(alarm.age_s)}" if aged else ""
    seen = " (seen)" if alarm.seen else ""
    rest = " ".join(part for part in (alarm.where, alarm.check, alarm.attended) if part)
    track_names = f"{alarm.numbers} {alarm.name}".strip()
    return f"{mark}  {alarm.cart}: {track_names}: {alarm.fault}{age}{seen}. {rest}".rstrip()

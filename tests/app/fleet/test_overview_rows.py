"""All carts in words."""

from __future__ import annotations

from app.fleet.all_carts import AllCarts
from app.fleet.overview_rows import alarm_row, cart_row, cart_words
from engine.model.messages import Severity
from tests.app.fleet.test_all_carts import alarm, state


def site() -> AllCarts:
    """A cart that is gone, one without backup, one in a drill, one in a break."""
    carts = AllCarts("site")
    more = {"bare": {}, "calm": {"drill": True, "live": False}, "rest": {"break": True}}
    for n, (name, words) in enumerate(more.items()):
        carts.receive(f"site/{name}/state", state(f"r{n}", 1, **words), 10.0)
    carts.receive("site/gone/state", state("g", 1), 0.0)
    carts.receive("site/bare/alarm/r0-1", alarm("r0", 2, uncovered=True), 10.0)
    carts.receive("site/bare/alarm/r0-2", alarm("r0", 3, seen=True, severity="amber"), 10.0)
    return carts


def test_a_cart_says_what_is_wrong_with_itself_first() -> None:
    """Silent ones in seconds, then no backup, then what it is: drill, replay, break, standby."""
    rows = {row.cells[0]: row for row in map(cart_row, site().carts(11.0))}
    assert rows["gone"].cells[1] == "SILENT FOR 11 S"
    assert rows["bare"].cells[1] == "1 WITHOUT BACKUP, 1 red, 1 amber"
    assert rows["calm"].cells[1] == "nothing wrong · DRILL"
    assert rows["rest"].cells[1] == "nothing wrong · break"
    assert [rows[name].severity for name in ("gone", "bare", "rest")] == [Severity.RED] * 2 + [None]
    assert [rows[name].loud for name in ("gone", "bare", "rest")] == [True, True, False]


def test_an_alarm_names_cart_and_track() -> None:
    """What was seen is no solid field."""
    bare, seen = map(alarm_row, site().alarms(11.0))
    assert bare.cells[:4] == ("bare", "3 Rigger", "NO BACKUP · muted", "0:11")
    assert (bare.severity, bare.loud) == (Severity.RED, True)
    assert seen.cells[2] == "muted · seen"
    assert (seen.severity, seen.loud) == (Severity.AMBER, False)
    assert bare.key != seen.key


def test_words_of_a_calm_cart() -> None:
    """Nothing wrong is said in words, too."""
    carts = AllCarts("site")
    carts.receive("site/a/state", state("r", 1), 0.0)
    assert cart_words(carts.carts(0.0)[0]) == "nothing wrong"

"""The overview's lines in the terminal."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.cli.overview_command import alarm_line, cart_line, overview
from app.fleet.all_carts import Cart, FleetAlarm

CART = Cart(
    name="main",
    run="r",
    title="Raising the bell",
    timecode="21:14:08:00",
    problem="",
    quiet_s=0.0,
    rolling=True,
    on_break=False,
    live=True,
    drill=False,
    tracks=12,
    red=0,
    amber=0,
    uncovered=0,
)
ALARM = FleetAlarm(
    key="main/1",
    cart="main",
    numbers="3",
    name="Rigger main",
    fault="muted",
    red=True,
    uncovered=False,
    seen=False,
    age_s=24.0,
    where="Pack 3 left shoulder.",
    check="Receiver mute, patch.",
    attended="",
)


@pytest.mark.parametrize(
    ("more", "end"),
    [
        ({}, "nothing wrong"),
        ({"red": 2, "amber": 1}, "2 red, 1 amber"),
        ({"red": 2, "uncovered": 1}, "1 WITHOUT BACKUP, 2 red, 0 amber"),
        ({"red": 2, "problem": "watch gone"}, "WATCH GONE"),
        ({"rolling": False}, "standby  nothing wrong"),
        ({"on_break": True, "rolling": False}, "break  nothing wrong"),
    ],
)
def test_a_cart_in_a_line(more: dict[str, object], end: str) -> None:
    """Name, title, tracks, timecode, and the worst last."""
    line = cart_line(replace(CART, **more))  # type: ignore[arg-type]
    assert line.startswith("main  Raising the bell  12 tracks  21:14:08:00")
    assert line.endswith(end)


def test_an_alarm_in_a_line() -> None:
    """Shape and word, cart, tracks, who, what, how long, where, check, who is on the way."""
    text = "main: 3 Rigger main: muted 0:24. Pack 3 left shoulder. Receiver mute, patch."
    assert alarm_line(ALARM, True) == f"■ RED  {text}"
    bare = replace(ALARM, uncovered=True, seen=True, attended="Runner is on the way")
    assert alarm_line(bare, False) == (
        "■ NO BACKUP  main: 3 Rigger main: muted (seen). Pack 3 left shoulder. "
        "Receiver mute, patch. Runner is on the way"
    )
    assert alarm_line(replace(ALARM, red=False), False).startswith("▲ amber  main: ")


def test_a_wrong_address_is_one_clear_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is connected to."""
    assert not overview("mqtt://host/site/cart")
    assert capsys.readouterr().err.count("\n") == 1

"""The page of the recorder's takes, with results that a test makes up."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from app.models.report_subjects import Subject
from app.models.verify_sheet import VerifyLine, VerifySheet, VerifyTake
from app.views.verify.recorder_page import RecorderPage
from app.window.main_window import MainWindow
from tests.support.qt import fake_client, pages

NIGHT = Path("/data/20260314T210500Z-1a2b")
PARTS = ((0.0, 1900.0), (2400.0, 5200.0), (5600.0, 7200.0))


def complete(tracks: int = 12) -> VerifySheet:
    """All is there."""
    plan = fake_client.tower_plan() if tracks == 12 else fake_client.large_plan(tracks)
    takes = tuple(
        VerifyTake(f"BELL_T0{n}.wav", f"{20 + n * 40 // 60}:{n * 40 % 60:02}:11", a, b, frozenset())
        for n, (a, b) in enumerate(PARTS, start=1)
    )
    words = "Every stretch that was rolling has a take, and every take has what was heard."
    named = tuple((track.input, track.label) for track in plan.tracks)
    known = VerifyLine(False, "", "BELL_T01.wav", "channel 13 is a sum of others: a mix-down", "")
    return VerifySheet("Complete", True, words, (known,), takes, PARTS, (), named, ())


def incomplete(tracks: int = 12) -> VerifySheet:
    """A take is missing, a channel was not armed, two are exchanged."""
    good = complete(tracks)
    lines = (
        VerifyLine(
            True,
            "20:42:11:07 to 21:28:51:00",
            "",
            "46.7 minutes of the session in no take",
            "look for the missing take on every card before anyone goes home",
        ),
        VerifyLine(
            True,
            "",
            "BELL_T01.wav",
            "5 Mason is not in the file: its channel is silent",
            "arm the track; look for it on another recorder or card",
        ),
        VerifyLine(
            True,
            "",
            "BELL_T03.wav",
            "3 Rigger main is on channel 4, 4 Rigger safety on channel 3",
            "rename or move the channel before it goes to post",
        ),
        *good.lines,
    )
    first, _, last = good.takes
    takes = (
        VerifyTake(first.name, first.begin, first.begin_s, first.end_s, frozenset({5})),
        VerifyTake(last.name, last.begin, last.begin_s, last.end_s, frozenset({3, 4})),
    )
    words = "3 things are missing or differ."
    return VerifySheet(
        "Not complete", False, words, lines, takes, PARTS, PARTS[1:2], good.tracks, ()
    )


def asked(folder: Path) -> MainWindow:
    """Nothing dropped yet."""
    window, _ = pages.make_window(folder)
    window.verifying.show()
    page = window.layer.current
    assert isinstance(page, RecorderPage)
    words = "2026-03-14 21:05 · Raising the bell · 02:00:00 · 5 red"
    page.offer([Subject("night", words, session=NIGHT)], NIGHT)
    return window


def _page(window: MainWindow) -> RecorderPage:
    page = window.layer.current
    assert isinstance(page, RecorderPage)
    return page


def comparing(folder: Path) -> MainWindow:
    """Half way."""
    window = asked(folder)
    _page(window).show_progress("BELL_T02.wav", 0.48, 94.0)
    return window


def all_there(folder: Path) -> MainWindow:
    """Complete."""
    window = asked(folder)
    _page(window).show_sheet(complete())
    return window


def missing(folder: Path) -> MainWindow:
    """Not complete."""
    window = asked(folder)
    _page(window).show_sheet(incomplete())
    return window


def missing64(folder: Path) -> MainWindow:
    """Not complete, of many tracks."""
    window = asked(folder)
    _page(window).show_sheet(incomplete(64))
    return window


VERIFY_PAGES: dict[str, Callable[[Path], MainWindow]] = {
    "recorder": asked,
    "recorder_comparing": comparing,
    "recorder_complete": all_there,
    "recorder_missing": missing,
    "recorder_missing64": missing64,
}

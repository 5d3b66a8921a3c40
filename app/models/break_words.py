"""Words and reminders of a break. Pure."""

from __future__ import annotations

from typing import Final

from app.style import wording
from engine.model.batteries import BREAK_S, ending
from engine.model.crew_notes import CrewNotes

LONG_BREAK_S: Final = 30 * 60.0
AGAIN_S: Final = 5 * 60.0


def reminders(desk: CrewNotes, now_s: float, after_s: float) -> int:
    """How often the crew is to have been reminded of the break by now."""
    if desk.break_since_s is None:
        return 0
    over_s = now_s - desk.break_since_s - after_s
    return 0 if over_s < 0 else 1 + int(over_s / AGAIN_S)


def words(desk: CrewNotes, now_s: float, after_s: float) -> str:
    """What stands beside the mark BREAK; empty while there is none."""
    if desk.break_since_s is None:
        return ""
    lasted = wording.lasted(now_s - desk.break_since_s)
    ends = "STILL ON, B ends it" if reminders(desk, now_s, after_s) else "B ends it"
    due = wording.numbers([b.track for b in ending(desk.batteries, now_s, BREAK_S)])
    change = f" Batteries to change: {due}." if due else ""
    return f"{lasted}. Only ambience and input-loss alarms stay active. {ends}.{change}"

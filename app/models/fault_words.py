"""What the board calls an alarm's fault, also while a drill keeps it back."""

from __future__ import annotations

from typing import Final

from engine.model.faults import word
from engine.model.messages import Alarm

UNNAMED: Final = "what is it?"
UNNAMED_BEFORE: Final = "what was it?"


def told(alarm: Alarm) -> str:
    """What an alarm's fault is called; a question while a drill keeps it back."""
    return UNNAMED if alarm.unnamed else word(alarm.incident.fault)

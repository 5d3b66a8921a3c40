"""What the board calls an alarm's fault, also while a drill withholds it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from engine.model.fault_remedies import word
from engine.model.messages import Alarm

UNNAMED: Final = "what is it?"
UNNAMED_BEFORE: Final = "what was it?"


@dataclass(frozen=True, slots=True)
class UnnamedAlarm(Alarm):
    """An alarm as a drill shows it until the mixer has named a cause: what it is stays hidden."""

    @classmethod
    def of(cls, alarm: Alarm) -> UnnamedAlarm:
        """That alarm without its name."""
        return cls(alarm.incident, alarm.state, alarm.seen_s, alarm.until_s, alarm.unstable)


def is_unnamed(alarm: Alarm) -> bool:
    """A drill withholds what it is."""
    return isinstance(alarm, UnnamedAlarm)


def told(alarm: Alarm) -> str:
    """What an alarm's fault is called; a question while a drill withholds it."""
    return UNNAMED if is_unnamed(alarm) else word(alarm.incident.fault)

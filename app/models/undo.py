"""What the crew did last, and the commands that take it back. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from engine.model.commands import (
    Acknowledge,
    Command,
    OutOfService,
    Shelve,
    Unacknowledge,
    Unshelve,
)
from engine.model.messages import Alarm, AlarmState

MOST: Final = 50


@dataclass(frozen=True, slots=True)
class Step:
    """One thing done: what to call it, and what takes it back."""

    words: str
    back: tuple[Command, ...]


class Undo:
    """The last things done, newest last."""

    def __init__(self) -> None:
        self._steps: list[Step] = []

    def add(self, words: str, back: Iterable[Command]) -> None:
        """Remember something done; what can't be taken back is not kept."""
        commands = tuple(back)
        if commands:
            self._steps = [*self._steps[1 - MOST :], Step(words, commands)]

    def take(self) -> Step | None:
        """The last thing done, to be taken back now."""
        return self._steps.pop() if self._steps else None


def unsee(alarms: Sequence[Alarm]) -> list[Command]:
    """Takes 'seen' back, also of what had returned to normal: it is listed again."""
    unseen = (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)
    return [Unacknowledge(a.incident.id) for a in alarms if a.state in unseen]


def unshelve(alarms: Sequence[Alarm]) -> list[Command]:
    """Takes a shelving back; what had been seen before is seen again."""
    commands: list[Command] = []
    for alarm in alarms:
        commands.append(Unshelve(alarm.incident.id))
        if alarm.state is AlarmState.ACKNOWLEDGED:
            commands.append(Acknowledge(alarm.incident.id))
    return commands


def shelve_again(alarms: Sequence[Alarm], now_s: float) -> list[Command]:
    """Takes a putting back of shelved alarms back, for as long as was left."""
    return [
        Shelve(a.incident.id, None if a.until_s is None else max(a.until_s - now_s, 1.0))
        for a in alarms
        if a.state is AlarmState.SHELVED
    ]


def in_service(tracks: Sequence[int], on: bool) -> list[Command]:
    """Takes tracks out of service, or puts them back."""
    return [OutOfService(number, on) for number in tracks]

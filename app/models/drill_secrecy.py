"""What a drill keeps back from the board, and what the mixer's pick is about. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.models.alarm_card import Card
from app.models.board_rows import tracks_of
from app.models.fault_words import UNNAMED, UnnamedAlarm
from app.style import wording
from engine.model.drill_causes import Cause
from engine.model.messages import Alarm
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan

EARLY_S = 1.0
"""A cause named so long before an alarm's onset is of that alarm: the ear was quicker."""


@dataclass(frozen=True, slots=True)
class Pick:
    """The mixer named that cause for those inputs."""

    at_s: float
    tracks: tuple[int, ...]
    cause: Cause


def veil(snapshot: Snapshot, picks: Sequence[Pick]) -> Snapshot:
    """The snapshot in which each alarm is unnamed until a cause was picked for it."""
    alarms = tuple(a if _picked(a, picks) else UnnamedAlarm.of(a) for a in snapshot.alarms)
    return replace(snapshot, alarms=alarms)


def _picked(alarm: Alarm, picks: Iterable[Pick]) -> bool:
    since_s = alarm.incident.onset_s - EARLY_S
    mine = set(tracks_of(alarm))
    return any(p.at_s >= since_s and mine.intersection(p.tracks) for p in picks)


def blindfold(snapshot: Snapshot) -> Snapshot:
    """The snapshot with levels only: no alarm, no sign, no word of what is present."""
    ribbon = replace(snapshot.ribbon, severity=np.zeros_like(snapshot.ribbon.severity))
    return replace(
        snapshot,
        alarms=(),
        covers=(),
        events=(),
        ribbon=ribbon,
        present=np.ones_like(snapshot.present),
        floor_dbfs=None,
        presence_dbfs=None,
        signs=(),
        pickups=(),
    )


def target(cards: Sequence[Card], current: Card | None, chosen: Iterable[int]) -> tuple[int, ...]:
    """The inputs that a pick is about: the chosen card that waits for one, else the first such.

    Without one, the tracks chosen on the board: whoever hears it first may say it first.
    """
    waiting = [card for card in cards if card.fault == UNNAMED]
    if current is not None and any(card.key == current.key for card in waiting):
        return current.tracks
    return waiting[0].tracks if waiting else tuple(sorted(chosen))


def prompt(plan: Plan, tracks: Sequence[int], pick: Pick | None) -> str:
    """What the panel asks, or what was said last."""
    if tracks:
        return f"{_named(plan, tracks)}: what is it?"
    if pick is not None:
        return f"{_named(plan, pick.tracks)}: you said {pick.cause.word}."
    return "Listen and look. Choose a track to name its cause before the alarm."


def _named(plan: Plan, tracks: Sequence[int]) -> str:
    labels = {t.input: t.label for t in plan.tracks}
    if len(tracks) == 1:
        return f"{tracks[0]} {labels.get(tracks[0], '')}".strip()
    return f"Tracks {wording.numbers(tracks)}"

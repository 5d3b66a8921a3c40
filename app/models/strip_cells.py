"""The worst alarms in few words, for the strip over every page. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from app.models.alarm_card import Card
from app.style.state_marks import Mark
from engine.model.messages import AlarmState, Severity

MOST: Final = 3
LONGEST_NAME: Final = 30
"""In letters: a longer one would push fault and time out of its cell; ours, by eye."""


@dataclass(frozen=True, slots=True)
class StripCell:
    """One alarm: `title` says number, name, fault and time; `body` what to do first, and where.

    `solid` for a red that nobody has seen, `alone` where no backup is left.
    """

    card: Card
    title: str
    body: str
    mark: Mark
    severity: Severity
    solid: bool
    alone: bool
    unseen: bool


def cells(cards: Sequence[Card], most: int = MOST) -> tuple[tuple[StripCell, ...], int]:
    """The cells of what stands now, worst first and at most so many, and how many more there
    are."""
    standing = [(card, card.severity) for card in cards if card.severity is not None]
    return tuple(_cell(*one) for one in standing[:most]), max(0, len(standing) - most)


def _shortened(name: str) -> str:
    """A long name without its middle: its number, and main or safety at its end, stay."""
    if len(name) <= LONGEST_NAME or "\u2068" in name:
        return name
    return f"{name[: LONGEST_NAME - 11].rstrip()}…{name[-10:].lstrip()}"


def _cell(card: Card, severity: Severity) -> StripCell:
    unseen = card.state is AlarmState.UNACKNOWLEDGED
    parts = (_shortened(card.title), "no backup" if card.uncovered else "", card.fault)
    red = severity is Severity.RED
    lines = (
        (card.cover, card.check, card.where) if not red else (card.check, card.where, card.cover)
    )
    return StripCell(
        card=card,
        title=f"{' · '.join(part for part in parts if part)}  {card.time}",
        body=" ".join(line for line in lines if line),
        mark=card.mark,
        severity=severity,
        solid=unseen and red,
        alone=card.uncovered,
        unseen=unseen,
    )

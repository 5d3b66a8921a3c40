"""What the page shows of a watch, as plain JSON data; and what of it changed. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from app.models import fault_words
from app.models.alarm_card import Card
from app.models.board_rows import row_states
from app.models.fix_cards import cards
from app.style import wording
from engine.model.batteries import Battery
from engine.model.commands import Watch
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.messages import Alarm, AlarmState, Kind, Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Track

Document = dict[str, Any]
"""Nested objects with texts, numbers and flags; never null, which in a patch means "gone"."""


@dataclass(frozen=True, slots=True)
class Condition:
    """How the watch itself stands: `word` for style, `text` for people."""

    word: str
    text: str = ""


def document(
    watch: Watch, snapshot: Snapshot, condition: Condition, drill: bool, may_see: bool
) -> Document:
    """All of the page.

    drill : what is wrong stays unnamed, as on the board before the mixer has named it
    may_see : phones may acknowledge for the crew
    """
    if drill:
        unnamed: tuple[Alarm, ...] = tuple(map(fault_words.UnnamedAlarm.of, snapshot.alarms))
        snapshot = replace(snapshot, alarms=unnamed)
    known = {track.input: track for track in watch.plan.tracks}
    standing = [c for c in cards(watch.plan, snapshot) if c.severity is not None]
    batteries = {b.track: b for b in snapshot.desk.batteries}
    rows = zip(watch.plan.tracks, row_states(watch.plan, snapshot), strict=True)
    return {
        "head": {
            "title": ("DRILL · " if drill else "") + (watch.plan.title or watch.source),
            "word": condition.word,
            "text": condition.text,
            "may_see": may_see,
        },
        "cards": {
            card_id(c): {**_card(c, snapshot, watch), "order": n} for n, c in enumerate(standing)
        },
        "tracks": {
            str(track.input): {
                "name": track.label,
                "who": track.who,
                "mark": row.mark.name.lower(),
                "word": row.word,
                "note": row.note if row.severity is None else "",
            }
            for track, row in rows
            if track.kind is not Kind.UNUSED
        },
        "plan": {
            str(number): _wears(track, batteries.get(number), snapshot.now_s)
            for number, track in known.items()
            if track.kind is not Kind.UNUSED
        },
    }


def card_id(card: Card) -> str:
    """The same as long as the card is."""
    return "k" + ".".join(map(str, card.key))


def _card(card: Card, snapshot: Snapshot, watch: Watch) -> Document:
    alarms = [a for a in snapshot.alarms if a.incident.id in card.incidents]
    made: Document = {
        "ids": list(card.incidents),
        "numbers": wording.numbers(card.tracks),
        "name": card.name,
        "fault": card.fault,
        "level": _level(card),
        "seen": bool(alarms) and card.state is AlarmState.ACKNOWLEDGED,
        "where": card.where,
        "cover": card.cover,
        "check": card.check,
        "notes": " ".join(card.notes),
    }
    if alarms:
        made["since_s"] = round(min(a.incident.onset_s for a in alarms), 2)
    else:
        made["time"] = card.time
    attendance = snapshot.desk.attendance_of(*card.incidents)
    if attendance is not None:
        at = label_at(watch.start_s + attendance.at_s, FRAME_RATES[watch.plan.frame_rate])
        made["help"] = {
            "name": attendance.name,
            "stage": attendance.stage.value,
            "text": f"{attendance.words} since {at[:8]}",
        }
        made["notes"] = " ".join(card.notes[1:])
    return made


def _level(card: Card) -> str:
    if card.uncovered:
        return "none"
    return "red" if card.severity is Severity.RED else "amber"


def _wears(track: Track, battery: Battery | None, now_s: float) -> Document:
    left_s = None if battery is None else battery.left_s(now_s)
    left = "" if left_s is None else f"{wording.hours(left_s)} left"
    return {
        "name": track.label,
        "who": track.who,
        "kind": track.kind.value,
        "pack": track.pack,
        "place": track.placement,
        "receiver": track.receiver,
        "battery": left or (f"lasts {track.battery}" if track.battery else ""),
    }


def patch(before: Mapping[str, Any], after: Mapping[str, Any]) -> Document:
    """What turns one into the other, as a JSON Merge Patch (RFC 7396); empty where nothing does."""
    made: Document = dict.fromkeys(before.keys() - after.keys())
    for key, value in after.items():
        old = before.get(key)
        if isinstance(value, Mapping) and isinstance(old, Mapping):
            inner = patch(old, value)
            if inner:
                made[key] = inner
        elif key not in before or old != value:
            made[key] = value
    return made

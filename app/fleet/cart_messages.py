"""What a cart publishes, as topics and JSON payloads. Pure. Schema 1; README.md documents it.

SITE/CART/state         retained, once a second: alive, rolling, timecode, title, and the names of
                        the alarms that stand
SITE/CART/tracks        retained, when it changes: every track in use and its state
SITE/CART/levels        once a second: the highest sample peak of each of these tracks, whole dBFS
SITE/CART/alarm/RUN-ID  retained while the alarm is shown: all its words; then empty, which takes
                        it away (MQTT 5, 3.3.1.3)

`run` is drawn anew by each publisher and `seq` counts its messages, so that a reader can tell old,
repeated and foreign ones; times are of the watch's own stream, in seconds, so that no two clocks
have to agree.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from app.models import fault_words
from app.models.alarm_card import Card
from app.models.board_rows import row_states
from app.models.fix_cards import cards
from app.style import wording
from engine.model.commands import Watch
from engine.model.messages import Alarm, AlarmState, Kind, Severity
from engine.model.snapshot import Snapshot

SCHEMA: Final = 1
Payload = dict[str, Any]


def topic(site: str, cart: str, *rest: str) -> str:
    """The topic of a cart's message."""
    return "/".join((site, cart, *rest))


def gone() -> Payload:
    """The state of a cart that is gone: its last will, too."""
    return {"alive": False}


def state(watch: Watch, snapshot: Snapshot, condition: str, drill: bool) -> Payload:
    """How the cart stands; `condition`: watching, silent (its watch gives no news) or ended."""
    wrong = [a for a in snapshot.alarms if a.state in _SHOWN]
    return {
        "alive": condition != "ended",
        "condition": condition,
        "title": watch.plan.title or watch.source,
        "now_s": round(snapshot.now_s, 2),
        "timecode": snapshot.timecode,
        "rolling": not snapshot.standby,
        "break": snapshot.desk.on_break,
        "drill": drill,
        "live": watch.live,
        "tracks": sum(t.kind is not Kind.UNUSED for t in watch.plan.tracks),
        "red": sum(a.incident.severity is Severity.RED for a in wrong),
        "amber": sum(a.incident.severity is Severity.AMBER for a in wrong),
    }


_SHOWN: Final = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


def tracks(watch: Watch, snapshot: Snapshot) -> Payload:
    """Every track in use by its input: name, who, pack, place, state, since when."""
    since: dict[int, float] = {}
    for alarm in snapshot.alarms:
        for number in alarm.incident.tracks or (alarm.incident.track or 0,):
            onset_s = alarm.incident.onset_s
            since[number] = min(since.get(number, onset_s), onset_s)
    rows = zip(watch.plan.tracks, row_states(watch.plan, snapshot), strict=True)
    made: Payload = {}
    for track, row in rows:
        if track.kind is not Kind.UNUSED:
            made[str(track.input)] = {
                "name": track.label,
                "kind": track.kind.value,
                "who": track.who,
                "pack": track.pack,
                "place": track.placement,
                "state": row.word,
                "severity": "" if row.severity is None else row.severity.word,
                "since_s": round(since[track.input], 2) if track.input in since else None,
            }
    return {"tracks": made}


def veiled(snapshot: Snapshot) -> Snapshot:
    """As a drill shows it: what is wrong stays unnamed."""
    unnamed: tuple[Alarm, ...] = tuple(map(fault_words.UnnamedAlarm.of, snapshot.alarms))
    return replace(snapshot, alarms=unnamed)


def alarms(watch: Watch, snapshot: Snapshot) -> dict[str, Payload]:
    """Every alarm that the glance view shows, with all its words, by a name for its topic."""
    shown = [card for card in cards(watch.plan, snapshot) if card.severity is not None]
    return {".".join(map(str, card.key)): _alarm(card, snapshot) for card in shown}


def _alarm(card: Card, snapshot: Snapshot) -> Payload:
    mine = [a.incident.onset_s for a in snapshot.alarms if a.incident.id in card.incidents]
    attendance = snapshot.desk.attendance_of(*card.incidents)
    return {
        "tracks": list(card.tracks),
        "numbers": wording.numbers(card.tracks),
        "name": card.name,
        "fault": card.fault,
        "severity": "" if card.severity is None else card.severity.word,
        "uncovered": card.uncovered,
        "seen": card.state is AlarmState.ACKNOWLEDGED,
        "since_s": round(min(mine), 2) if mine else None,
        "where": card.where,
        "check": card.check,
        "cover": card.cover,
        "attended": "" if attendance is None else attendance.words,
    }


def text(payload: Mapping[str, Any], run: str, seq: int) -> bytes:
    """The payload with what every message has, as JSON in UTF-8."""
    whole = {"schema": SCHEMA, "run": run, "seq": seq, **payload}
    return json.dumps(whole, separators=(",", ":"), ensure_ascii=False).encode()

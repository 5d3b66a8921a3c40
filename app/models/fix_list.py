"""The list of what to fix: a card an alarm, or one for a `who` left uncovered. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from app import text
from app.models import faults
from app.models.marks import Mark
from app.models.rows import tracks_of
from engine.model import Alarm, AlarmState, Severity, Snapshot
from engine.tracks import Plan, Track


@dataclass(frozen=True, slots=True)
class Card:
    """One entry, as words.

    `key` stays the same while the entry does; `incidents` are the ids its buttons act on, `tracks`
    the input numbers. `severity` is None for what is not wrong now (back, shelved, out of service).
    """

    key: tuple[int, ...]
    incidents: tuple[int, ...]
    tracks: tuple[int, ...]
    state: AlarmState
    severity: Severity | None
    mark: Mark
    title: str
    time: str
    headline: str
    where: str = ""
    cover: str = ""
    check: str = ""


def cards(plan: Plan, snapshot: Snapshot) -> tuple[Card, ...]:
    """All cards, most urgent first: uncovered, red, amber (unseen before seen), put aside, back."""
    known = {t.input: t for t in plan.tracks}
    left = [a for a in snapshot.alarms if _listed(a)]
    made: list[tuple[tuple[float, ...], Card]] = []
    for cover in snapshot.covers:
        mine = [a for a in left if _uncovers(a, cover.tracks)]
        if cover.uncovered and len(mine) > 1:
            left = [a for a in left if a not in mine]
            made.append((_order(mine[0]), _uncovered(cover.who, mine, known, snapshot.now_s)))
    made += [(_order(a), _single(a, known, snapshot.now_s)) for a in left]
    return tuple(card for _, card in sorted(made, key=lambda pair: pair[0]))


def _listed(alarm: Alarm) -> bool:
    """Suppressed alarms are told by their receiver's, or by the standby mark."""
    return alarm.state not in (AlarmState.SUPPRESSED, AlarmState.NORMAL)


def _stands(alarm: Alarm) -> bool:
    return alarm.state in (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)


def _uncovers(alarm: Alarm, tracks: Sequence[int]) -> bool:
    incident = alarm.incident
    return _stands(alarm) and incident.uncovered and incident.track in tracks


_PLACE = {
    AlarmState.UNACKNOWLEDGED: 0,
    AlarmState.ACKNOWLEDGED: 0,
    AlarmState.RETURNED: 2,
    AlarmState.SHELVED: 3,
    AlarmState.OUT_OF_SERVICE: 4,
}


def _order(alarm: Alarm) -> tuple[float, ...]:
    incident = alarm.incident
    seen = alarm.state is AlarmState.ACKNOWLEDGED
    return (
        _PLACE[alarm.state],
        not incident.uncovered,
        -incident.severity,
        seen,
        incident.onset_s,
        incident.id,
    )


def _where(tracks: Iterable[Track]) -> str:
    """'Pack 7 under life jacket, pack 8 small of back. Receiver B.'"""
    tracks = list(tracks)
    spots = []
    for track in tracks:
        pack = f"pack {track.pack}" if track.pack else ""
        spots.append(" ".join(part for part in (pack, track.placement) if part))
    receivers = sorted({t.receiver for t in tracks if t.receiver})
    behind = "" if not receivers else "Receiver " + " and ".join(receivers)
    places = ", ".join(spot for spot in spots if spot)
    return " ".join(filter(None, (text.sentence(places), text.sentence(behind))))


def _uncovered(who: str, alarms: Sequence[Alarm], known: dict[int, Track], now_s: float) -> Card:
    numbers = tuple(sorted({n for a in alarms for n in tracks_of(a)}))
    words = list(dict.fromkeys(faults.word(a.incident.fault) for a in alarms))
    packs = "both packs" if len(numbers) == 2 else "all packs"
    unseen = any(a.state is AlarmState.UNACKNOWLEDGED for a in alarms)
    severity = max(a.incident.severity for a in alarms)
    checks = list(dict.fromkeys(faults.check_first(a.incident) for a in alarms))
    return Card(
        key=numbers,
        incidents=tuple(a.incident.id for a in alarms),
        tracks=numbers,
        state=AlarmState.UNACKNOWLEDGED if unseen else AlarmState.ACKNOWLEDGED,
        severity=severity,
        mark=_mark(severity),
        title=f"{text.numbers(numbers)} {who}",
        time=_time(max(now_s - a.incident.onset_s for a in alarms), seen=not unseen),
        headline=f"Uncovered: {packs} {' and '.join(words)}.",
        where=_where(known[n] for n in numbers if n in known),
        check=" ".join(text.sentence(c) for c in checks),
    )


def _mark(severity: Severity) -> Mark:
    return Mark.RED if severity is Severity.RED else Mark.AMBER


def _time(seconds: float, seen: bool) -> str:
    return text.lasted(seconds) + (" · seen" if seen else "")


def _title(alarm: Alarm, known: dict[int, Track]) -> str:
    numbers = tracks_of(alarm)
    if alarm.incident.track is None:
        return alarm.incident.part_of or f"Tracks {text.numbers(numbers)}"
    name = known[numbers[0]].label if len(numbers) == 1 and numbers[0] in known else ""
    return f"{text.numbers(numbers)} {name}".strip()


def _headline(alarm: Alarm) -> str:
    incident = alarm.incident
    word = text.sentence(faults.word(incident.fault)).rstrip(".")
    if incident.uncovered:
        word = f"Uncovered: {faults.word(incident.fault)}"
    unstable = " (unstable: comes and goes)" if alarm.unstable else ""
    detail = f", {incident.detail}" if incident.detail else ""
    return text.sentence(f"{word}{unstable}{detail}")


def _single(alarm: Alarm, known: dict[int, Track], now_s: float) -> Card:
    incident, numbers = alarm.incident, tracks_of(alarm)
    many = incident.track is None
    where = f"Tracks {text.numbers(numbers)}." if many and numbers else ""
    if not many:
        where = _where(known[n] for n in numbers if n in known)
    pack = known.get(incident.covered_by) if incident.covered_by is not None else None
    standing = _stands(alarm)
    base = Card(
        key=(-incident.id,),
        incidents=(incident.id,),
        tracks=numbers,
        state=alarm.state,
        severity=incident.severity if standing else None,
        mark=_mark(incident.severity),
        title=_title(alarm, known),
        time=_time(now_s - incident.onset_s, alarm.state is AlarmState.ACKNOWLEDGED),
        headline=_headline(alarm),
        where=where,
        cover=f"Covered by {pack.input} {pack.label}." if pack else "",
        check=text.sentence(faults.check_first(incident)),
    )
    return base if standing else _aside(base, alarm, now_s)


def _aside(card: Card, alarm: Alarm, now_s: float) -> Card:
    """The same card for what is back, shelved or out of service: shorter, without colour."""
    word = text.sentence(faults.word(alarm.incident.fault)).rstrip(".")
    match alarm.state:
        case AlarmState.RETURNED:
            back = now_s - (alarm.incident.end_s or now_s)
            mark, time = Mark.RETURNED, f"back {text.lasted(back)} ago"
            detail = f", {alarm.incident.detail}" if alarm.incident.detail else ""
            line = text.sentence(f"{word}{detail}") + " Seen it clears this."
        case AlarmState.SHELVED:
            until = alarm.until_s
            mark = Mark.SHELVED
            time = "shelved" if until is None else f"shelved {text.lasted(until - now_s + 0.999)}"
            line = f"{word}. Comes back by itself." if until is not None else f"{word}."
        case _:
            mark, time, line = Mark.OUT_OF_SERVICE, "out of service", f"{word}."
    return Card(
        key=card.key,
        incidents=card.incidents,
        tracks=card.tracks,
        state=card.state,
        severity=None,
        mark=mark,
        title=card.title,
        time=time,
        headline=line,
    )

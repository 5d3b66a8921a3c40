"""The list of what to fix: a card an alarm, or one for a `who` left uncovered. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from app.models import fault_words
from app.models.alarm_card import Card, Trouble, cause_name, named, spots_of, where_of
from app.models.board_rows import tracks_of
from app.style import wording
from app.style.state_marks import Mark
from engine.model import fault_remedies
from engine.model.batteries import BREAK_S, WARN_S, ending
from engine.model.crew_notes import CrewNotes
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from engine.model.number_text import number
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan, Track

TROUBLE_KEY = -1_000_000_000
"""First number of the key of a card on the watch itself."""
_TROUBLE_WORDS = {"Session log": "not saved", "This computer": "may fail"}
BATTERY_KEY = 0
"""First number of a battery card's key; incidents and tracks count from 1."""


def cards(plan: Plan, snapshot: Snapshot, troubles: Sequence[Trouble] = ()) -> tuple[Card, ...]:
    """All cards, most urgent first: uncovered, red, amber (unseen before seen), put aside, back.

    `troubles` are those of the watch itself; those of its log and of the computer are found in the
    snapshot.
    """
    known = {t.input: t for t in plan.tracks}
    left = [a for a in snapshot.alarms if _listed(a)]
    made: list[tuple[tuple[float, ...], Card]] = []
    for cover in snapshot.covers:
        mine = [a for a in left if _uncovers(a, cover.tracks)]
        if cover.uncovered and len(mine) > 1:
            left = [a for a in left if a not in mine]
            card = _uncovered(cover.who, mine, known, snapshot.now_s)
            made.append((_order(mine[0]), _with_pickup(card, (cover.who,), snapshot, known)))
    for alarm in left:
        card = _single(alarm, known, snapshot.now_s)
        who = (known[n].who for n in tracks_of(alarm) if n in known)
        made.append((_order(alarm), _with_pickup(card, tuple(who), snapshot, known)))
    made += _batteries(known, snapshot)
    found = (*_of_log(snapshot), *_of_computer(snapshot), *troubles)
    made += [_trouble(n, one) for n, one in enumerate(found, start=1)]
    cards = (card for _, card in sorted(made, key=lambda pair: pair[0]))
    unnamed = {a.incident.id for a in snapshot.alarms if fault_words.is_unnamed(a)}
    veiled = (_veiled(card) if unnamed.intersection(card.incidents) else card for card in cards)
    return tuple(_noted(card, snapshot.desk) for card in veiled)


def _with_pickup(
    card: Card, who: Sequence[str], snapshot: Snapshot, known: Mapping[int, Track]
) -> Card:
    """The same card; where nothing covers somebody, with the track that heard them best."""
    heard = [p for p in snapshot.pickups if p.who in who]
    if not card.uncovered or card.cover or not heard:
        return card
    best = max(heard, key=lambda p: p.over_db)
    name = known[best.track].label if best.track in known else ""
    guess = " A guess: listen first." if best.guess else ""
    over = number(best.over_db, "dB", digits=0)
    words = f"{best.track} {name} heard them, {over} over its own sound.{guess}"
    return replace(card, cover=words)


def _of_log(snapshot: Snapshot) -> list[Trouble]:
    if snapshot.log is None or not snapshot.log.problem:
        return []
    kept = f"{snapshot.log.waiting} lines are in memory meanwhile."
    check = "Free space on the disk, or end what blocks it."
    return [Trouble("Session log", f"Not saved. {kept}", check, snapshot.log.problem)]


def _of_computer(snapshot: Snapshot) -> list[Trouble]:
    """One card for all that is about to fail of it."""
    if not snapshot.computer:
        return []
    parts = [line.rpartition(": ") for line in snapshot.computer]
    headline = " ".join(wording.sentence(what) for what, _, _ in parts)
    check = " ".join(wording.sentence(do) for _, _, do in parts)
    return [Trouble("This computer", headline, check)]


def _trouble(number: int, trouble: Trouble) -> tuple[tuple[float, ...], Card]:
    card = Card(
        key=(TROUBLE_KEY, number),
        incidents=(),
        tracks=(),
        state=AlarmState.ACKNOWLEDGED,
        severity=Severity.AMBER,
        mark=Mark.AMBER,
        title=trouble.title,
        time="",
        headline=trouble.headline,
        check=trouble.check,
        name=trouble.title,
        fault=_TROUBLE_WORDS.get(trouble.title, "off"),
        evidence=wording.sentence(trouble.evidence),
    )
    return (0, True, -Severity.AMBER, True, 0.0, number), card


def _veiled(card: Card) -> Card:
    """The same card in a drill, where the mixer is to say first what it is."""
    title = f"Tracks {wording.numbers(card.tracks)}" if len(card.tracks) > 2 else card.title
    asked = fault_words.UNNAMED if card.severity is not None else fault_words.UNNAMED_BEFORE
    headline = wording.sentence(("No backup: " if card.uncovered else "") + asked)
    return replace(
        card,
        title=title,
        name=title,
        headline=headline,
        check="",
        evidence="",
        fault=fault_words.UNNAMED,
    )


def _noted(card: Card, desk: CrewNotes) -> Card:
    attendance = desk.attendance_of(*card.incidents)
    words = () if attendance is None else (wording.sentence(attendance.words),)
    notes = (*words, *desk.notes_on(*card.incidents))
    if not notes:
        return card
    return replace(card, notes=notes, attended=attendance.words if attendance else "")


def _batteries(known: dict[int, Track], snapshot: Snapshot) -> list[tuple[tuple[float, ...], Card]]:
    """Batteries that end soon; in a break all that the next stretch of work would outlast."""
    desk, now_s = snapshot.desk, snapshot.now_s
    made: list[tuple[tuple[float, ...], Card]] = []
    for battery in ending(desk.batteries, now_s, BREAK_S if desk.on_break else WARN_S):
        track = known.get(battery.track)
        left_s = battery.left_s(now_s)
        if track is None or left_s is None:
            continue
        urgent = left_s <= WARN_S
        card = Card(
            key=(BATTERY_KEY, track.input),
            incidents=(),
            tracks=(track.input,),
            state=AlarmState.ACKNOWLEDGED,
            severity=Severity.AMBER if urgent else None,
            mark=Mark.BATTERY,
            title=f"{track.input} {wording.isolate(track.label)}",
            time=f"{wording.hours(left_s)} left",
            headline="Battery time is up." if left_s <= 0 else "Battery ends soon.",
            where=where_of([track]),
            check="Soon empty: change it, then F logs the change.",
            name=track.who or track.label,
            fault="battery",
            spots=spots_of([track]),
        )
        place = 0 if urgent else _PLACE[AlarmState.RETURNED]
        made.append(((place, True, -Severity.AMBER, True, now_s + left_s, track.input), card))
    return made


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


def _uncovered(who: str, alarms: Sequence[Alarm], known: dict[int, Track], now_s: float) -> Card:
    numbers = tuple(sorted({n for a in alarms for n in tracks_of(a)}))
    words = list(dict.fromkeys(fault_remedies.word(a.incident.fault) for a in alarms))
    packs = "both packs" if len(numbers) == 2 else "all packs"
    unseen = any(a.state is AlarmState.UNACKNOWLEDGED for a in alarms)
    severity = max(a.incident.severity for a in alarms)
    checks = list(dict.fromkeys(fault_remedies.check_first(a.incident) for a in alarms))
    return Card(
        key=numbers,
        incidents=tuple(a.incident.id for a in alarms),
        tracks=numbers,
        state=AlarmState.UNACKNOWLEDGED if unseen else AlarmState.ACKNOWLEDGED,
        severity=severity,
        mark=_mark(severity),
        title=f"{wording.numbers(numbers)} {wording.isolate(who)}",
        time=_time(max(now_s - a.incident.onset_s for a in alarms), seen=not unseen),
        headline=f"No backup: {packs} {' and '.join(words)}.",
        evidence=_evidence(alarms),
        where=where_of(known[n] for n in numbers if n in known),
        check=" ".join(wording.sentence(c) for c in checks),
        name=who,
        fault=words[0],
        spots=spots_of(known[n] for n in numbers if n in known),
        uncovered=True,
    )


def _mark(severity: Severity) -> Mark:
    return Mark.RED if severity is Severity.RED else Mark.AMBER


def _time(seconds: float, seen: bool) -> str:
    return wording.lasted(seconds) + (" · seen" if seen else "")


def _title(alarm: Alarm, known: dict[int, Track]) -> str:
    numbers = tracks_of(alarm)
    if alarm.incident.track is None:
        return cause_name(alarm.incident, known)
    name = wording.isolate(_name(alarm, known))
    return f"{wording.numbers(numbers)} {name}".strip()


def _name(alarm: Alarm, known: dict[int, Track]) -> str:
    number = alarm.incident.track
    if number is None:
        return cause_name(alarm.incident, known)
    return known[number].label if number in known else ""


def _headline(alarm: Alarm) -> str:
    incident = alarm.incident
    word = wording.sentence(fault_remedies.word(incident.fault)).rstrip(".")
    if incident.uncovered:
        word = f"No backup: {fault_remedies.word(incident.fault)}"
    unstable = " (unstable: comes and goes)" if alarm.unstable else ""
    return wording.sentence(f"{word}{unstable}")


def _evidence(alarms: Iterable[Alarm]) -> str:
    """What was measured, each thing once."""
    details = dict.fromkeys(wording.sentence(a.incident.detail) for a in alarms)
    return " ".join(filter(None, details))


def _single(alarm: Alarm, known: dict[int, Track], now_s: float) -> Card:
    incident, numbers = alarm.incident, tracks_of(alarm)
    many = incident.track is None
    tracks = [known[n] for n in numbers if n in known]
    where, check = where_of(tracks), fault_remedies.check_first(incident)
    if many:
        where = "" if incident.fault is Fault.NOTHING_YET else named(tracks)
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
        cover=f"Use {pack.input} {wording.isolate(pack.label)} meanwhile." if pack else "",
        evidence=_evidence([alarm]),
        check=wording.sentence(check),
        name=_name(alarm, known),
        fault=fault_remedies.word(incident.fault),
        spots=(f"tracks {wording.numbers(numbers)}",) if many and numbers else spots_of(tracks),
        uncovered=incident.uncovered,
    )
    return base if standing else _aside(base, alarm, now_s)


def _aside(card: Card, alarm: Alarm, now_s: float) -> Card:
    """The same card for what is back, shelved or out of service: shorter, without colour."""
    word = wording.sentence(fault_remedies.word(alarm.incident.fault)).rstrip(".")
    match alarm.state:
        case AlarmState.RETURNED:
            back = now_s - (alarm.incident.end_s or now_s)
            mark, time = Mark.RETURNED, f"recovered {wording.lasted(back)} ago"
            detail = f", {alarm.incident.detail}" if alarm.incident.detail else ""
            line = wording.sentence(f"{word}{detail}") + " Recovered: A clears it."
        case AlarmState.SHELVED:
            until = alarm.until_s
            mark = Mark.SHELVED
            time = (
                "shelved" if until is None else f"shelved {wording.lasted(until - now_s + 0.999)}"
            )
            line = f"{word}. Returns by itself." if until is not None else f"{word}."
        case _:
            mark, time, line = Mark.OUT_OF_SERVICE, "out of service", f"{word}."
    return replace(
        card,
        severity=None,
        mark=mark,
        time=time,
        headline=line,
        where="",
        cover="",
        check="",
        evidence="",
    )

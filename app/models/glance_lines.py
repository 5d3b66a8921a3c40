"""What stands on the glance view: only what is wrong, in few words. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.models.alarm_card import Card
from app.models.board_rows import STANDING, tracks_of
from app.style import wording
from engine.model.messages import AlarmState, Kind, Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan

_DOING = ("change ", "turn ", "restart ", "close ", "is ")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that is wrong; `where` and `check` may be empty.

    `where_short` and `check_short` are for where there is little room: places without pack
    labels that only repeat the input, and the first thing to check alone; `line` has both in one.
    """

    numbers: str
    name: str
    fault: str
    time: str
    severity: Severity
    uncovered: bool = False
    unseen: bool = True
    note: str = ""
    where: str = ""
    check: str = ""
    where_short: str = ""
    check_short: str = ""
    line: str = ""


def entries(cards: Sequence[Card]) -> tuple[Entry, ...]:
    """The cards of what stands now, in their order."""
    return tuple(_entry(card, card.severity) for card in cards if card.severity is not None)


def _entry(card: Card, severity: Severity) -> Entry:
    # What comes behind the colon is what to do; before it stands what it means.
    check = card.check.rstrip(".").split(": ", 1)[-1]
    first = check.split(", ", 1)[0]
    cover = card.cover.rstrip(".")
    bare = " · ".join(_bare(spot, card.tracks) for spot in card.spots)
    return Entry(
        numbers=wording.numbers(card.tracks),
        name=card.name,
        fault=card.fault.upper(),
        time=card.time.replace(" · ", " "),
        severity=severity,
        uncovered=card.uncovered,
        unseen=card.state is AlarmState.UNACKNOWLEDGED,
        note=card.attended,
        where=" · ".join(card.spots),
        check=" · ".join(filter(None, (card.attended, cover, _told(check)))),
        where_short=bare,
        check_short=card.attended or cover or _told(first),
        line=" · ".join(filter(None, (bare, cover[:1].lower() + cover[1:] or _told(first)))),
    )


def _told(check: str) -> str:
    """What to check, or where the words say what to do, just that."""
    if not check:
        return ""
    if check.startswith(_DOING):
        return wording.sentence(check).rstrip(".")
    word = check if check[:2].isupper() else check[:1].lower() + check[1:]
    return f"Check: {word}"


def _bare(spot: str, numbers: Sequence[int]) -> str:
    for number in numbers:
        spot = spot.removeprefix(f"pack {number} ")
    return spot


@dataclass(frozen=True, slots=True)
class Scene:
    """All that the view says. `marks` are plain lines that nobody may miss: standby, break,
    not watching, chimes off; `blind` while nobody watches."""

    entries: tuple[Entry, ...] = ()
    live: tuple[int, int] = (0, 0)
    clock: str = ""
    marks: tuple[str, ...] = ()
    blind: bool = False


def scene(plan: Plan, snapshot: Snapshot, cards: Sequence[Card], clock: str, quiet: str) -> Scene:
    """The view of a snapshot; `quiet` says why no chime sounds, empty while they do."""
    since_s = snapshot.desk.break_since_s
    marks = (
        "STANDBY: not rolling" if snapshot.standby else "",
        "" if since_s is None else f"BREAK {wording.lasted(snapshot.now_s - since_s)}",
        quiet,
    )
    shown = tuple(mark for mark in marks if mark)
    return Scene(entries(cards), live(plan, snapshot), clock, shown)


def live(plan: Plan, snapshot: Snapshot) -> tuple[int, int]:
    """How many tracks have nothing wrong, and how many there are; unused ones don't count."""
    used = {t.input for t in plan.tracks if t.kind is not Kind.UNUSED}
    wrong = {n for a in snapshot.alarms if a.state in STANDING for n in tracks_of(a)}
    return len(used - wrong - set(snapshot.out_of_service)), len(used)

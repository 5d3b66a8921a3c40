"""One entry of the list to fix, as words; and where a pack sits. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from app.style import wording
from app.style.state_marks import Mark
from engine.model.messages import AlarmState, Fault, Incident, Severity
from engine.model.tracks import Track

MOST_NAMES: Final = 6
"""More names than that are no help on a card."""


@dataclass(frozen=True, slots=True)
class Card:
    """One entry, as words.

    `key` stays the same while the entry does; `incidents` are the ids its buttons act on, `tracks`
    the input numbers. `severity` is None for what is not wrong now (back, shelved, out of service).
    `headline` names the fault and whether there is a backup, `check` what to do first, `evidence`
    what was measured. `name`, `fault` and `spots` are who, what and where once more, for a view of
    few words; `attended` says which assistant works on it.
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
    name: str = ""
    fault: str = ""
    spots: tuple[str, ...] = ()
    uncovered: bool = False
    notes: tuple[str, ...] = ()
    attended: str = ""
    evidence: str = ""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something wrong with the watch itself: what, what to do first, and what was said of it."""

    title: str
    headline: str
    check: str
    evidence: str = ""


def spots_of(tracks: Iterable[Track]) -> tuple[str, ...]:
    """'pack 7 under the apron' of each track of which something is known."""
    spots = []
    for track in tracks:
        pack = f"pack {track.pack}" if track.pack else ""
        spots.append(" ".join(part for part in (pack, wording.isolate(track.placement)) if part))
    return tuple(spot for spot in spots if spot)


def where_of(tracks: Iterable[Track]) -> str:
    """As 'Pack 7 under the apron, pack 8 small of back. Receiver B.'."""
    tracks = list(tracks)
    receivers = sorted({t.receiver for t in tracks if t.receiver})
    behind = "" if not receivers else "Receiver " + " and ".join(receivers)
    places = ", ".join(spots_of(tracks))
    return " ".join(filter(None, (wording.sentence(places), wording.sentence(behind))))


def named(tracks: Sequence[Track]) -> str:
    """'Tracks 3 + 4: 3 Rigger main, 4 Rigger safety.'; of many tracks the numbers alone."""
    numbers = wording.numbers([t.input for t in tracks])
    names = ", ".join(f"{t.input} {wording.isolate(t.label)}" for t in tracks)
    words = f"Tracks {numbers}: {names}" if len(tracks) <= MOST_NAMES else f"Tracks {numbers}"
    return wording.sentence(words) if tracks else ""


def cause_name(incident: Incident, known: Mapping[int, Track]) -> str:
    """What its tracks have in common: their receiver, or the whole input; else their numbers."""
    numbers = incident.tracks
    if incident.fault is Fault.NOTHING_YET:
        return f"{'Input' if len(numbers) == 1 else 'Inputs'} {wording.numbers(numbers)}"
    receivers = {known[n].receiver for n in numbers if n in known}
    if len(receivers) == 1 and "" not in receivers:
        return f"Receiver {receivers.pop()}"
    return "Whole input"

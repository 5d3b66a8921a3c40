"""Numbers, times and tracks in words, for people; every number with its unit."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from engine.alarms.coverage_timeline import Stretch
from engine.model import number_text
from engine.model.number_text import NO_VALUE
from engine.model.pickups import Pickup
from engine.model.tracks import Track
from engine.report.content.report_data import Entry, Section

NONE: Final = NO_VALUE

_MOST_STRETCHES: Final = 3
"""More in one cell are not read; the table of each performer's tracks has a line for each."""


def length(seconds: float) -> str:
    """How long something lasted: 0.3 s, 7.5 s, 2 min 05 s, 1 h 02 min."""
    if seconds < 59.95:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02} s"
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02} min"


def percent(share: float | None) -> str:
    """A share as a percentage that never rounds up to all, nor down to nothing."""
    if share is None:
        return NONE
    shown = min(max(100.0 * share, 0.1), 99.9) if 0.0 < share < 1.0 else 100.0 * share
    return f"{shown:.1f} %".replace(".0 %", " %")


def count(number: int, one: str, several: str | None = None) -> str:
    """'1 take', '3 takes'."""
    return f"{number} {one if number == 1 else several or one + 's'}"


def track_name(track: Track) -> str:
    """'4 Rigger safety'."""
    return f"{track.input} {track.label}"


def subject(entry: Entry) -> str:
    """The track an entry speaks of, or what it speaks for."""
    if entry.track is not None:
        return track_name(entry.track)
    return f"tracks {numbers(entry.incident.tracks)}" if entry.incident.tracks else "whole input"


def numbers(tracks: Sequence[int]) -> str:
    """Track numbers; runs of three and more are shortened: 1–4, 9."""
    runs: list[list[int]] = []
    for number in sorted(tracks):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def faults(entries: Sequence[Entry]) -> str:
    """Each fault once: muted, dropout."""
    return ", ".join(dict.fromkeys(entry.word for entry in entries))


def pack(track: Track) -> str:
    """'pack 2, small of back', as far as the plan says."""
    parts = [f"pack {track.pack}" if track.pack else "", track.placement]
    return ", ".join(part for part in parts if part)


def severity(entry: Entry) -> str:
    """How bad it was, in one word."""
    return "no backup" if entry.incident.uncovered else entry.incident.severity.word


def instead(entry: Entry, section: Section) -> str:
    """What to use instead; where that changes, stretch by stretch with timecode."""
    if entry.track is None:
        return "see the single tracks"
    stretches = entry.instead
    if entry.heard_on is not None:
        return _heard_on(entry.heard_on, entry, section)
    if not stretches:
        return "no backup track" if entry.spoils else "listen first: no backup track"
    if len(stretches) == 1:
        return _use_instead(stretches[0], entry, section)
    if len(stretches) > _MOST_STRETCHES:
        longest = max(stretches, key=lambda stretch: stretch.length_s)
        changes = count(len(stretches) - 1, "change")
        said = _use_instead(longest, entry, section)
        return f"mostly {said}; {changes}, see the performer's tracks below"
    edges = _edges(stretches, section)
    return "; ".join(
        f"{begin} to {end} {_use_instead(s, entry, section)}"
        for s, (begin, end) in zip(stretches, pairwise(edges), strict=True)
    )


def _edges(stretches: Sequence[Stretch], section: Section) -> list[str]:
    """Labels of the bounds: an In where a stretch without a usable track begins, else an Out, so
    that no frame is offered in which the audio is bad."""
    inner = (
        section.timecode(s.start_s) if s.use is None else section.timecode_out(s.start_s)
        for s in stretches[1:]
    )
    return [
        section.timecode(stretches[0].start_s),
        *inner,
        section.timecode_out(stretches[-1].end_s),
    ]


def _use_instead(stretch: Stretch, entry: Entry, section: Section) -> str:
    """The track to use; where there is none, the incident's own may still do if not spoiled."""
    if stretch.use is None and not entry.spoils:
        return "no backup track: listen first"
    return use(stretch, section)


def _heard_on(pickup: Pickup, entry: Entry, section: Section) -> str:
    """Another track that heard them, with how well and how much later."""
    track = section.track(pickup.track, entry.start_s)
    name = f"track {pickup.track}" if track is None else "track " + track_name(track)
    over = number_text.number(pickup.over_db, "dB", digits=0)
    delay = number_text.number(1000.0 * pickup.delay_s, "ms", signed=True)
    guess = ", a guess" if pickup.guess else ""
    return f"no backup track; {name} heard them, {over} over its own sound, {delay}{guess}"


def use(stretch: Stretch, section: Section) -> str:
    """The track to use in that stretch."""
    if stretch.use is None:
        return "NOTHING: no usable track"
    track = section.track(stretch.use, stretch.start_s)
    if track is None:
        return f"track {stretch.use}"
    return "track " + track_name(track) + (f" (pack {track.pack})" if track.pack else "")


def done(entry: Entry, section: Section) -> str:
    """What was done about it, and when."""
    return "; ".join(
        f"{section.timecode(d.at_s)} {d.text}" + (f" by {d.by}" if d.by else "") for d in entry.done
    )

"""On which tracks each cause can be put, and what must be left alone beside them. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from engine.model.drill_causes import Cause
from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Track

VOICES: Final = (Kind.LAV, Kind.BOOM)
_ANY_MIC: Final = (*VOICES, Kind.AMBIENCE)
LEAST_MICS: Final = 5
"""Performers or mics that tell slips of the clock from chance (CONTRACT.md)."""


@dataclass(frozen=True, slots=True)
class Target:
    """Input numbers.

    tracks : where the fault shows and may be answered; the first is the one that is changed, of a
        duplicate the last
    beside : what nothing else may touch meanwhile, for it would blur this fault
    source : whose sound arrives on it; 0 where it is its own
    """

    tracks: tuple[int, ...]
    beside: tuple[int, ...] = ()
    source: int = 0


def targets_of(cause: Cause, tracks: Sequence[Track]) -> tuple[Target, ...]:
    """All targets in a plan for one cause; none where the plan has no such tracks."""
    match cause:
        case Cause.NOTHING:
            return tuple(Target(packs) for packs in _performers(tracks))
        case Cause.RECEIVER:
            return tuple(Target(behind) for behind in _receivers(tracks))
        case Cause.POLARITY:  # which of the two is the wrong one nobody can hear
            return tuple(Target(pair) for pair in _pairs(tracks))
        case Cause.PAIR_DRIFT:
            return tuple(Target((one,), (other,)) for one, other in _pairs(tracks))
        case Cause.SWAPPED:
            return tuple(_exchanged(tracks))
        case Cause.DUPLICATE:
            return tuple(_copies(tracks))
        case Cause.CLOCK:
            return tuple(_all_at_once(tracks))
        case Cause.UNEXPECTED:
            voices = _of(tracks, VOICES)
            return tuple(Target((n,), (), s) for n in _of(tracks, (Kind.UNUSED,)) for s in voices)
        case Cause.TIMECODE:
            return tuple(Target((n,)) for n in _of(tracks, (Kind.TIMECODE,)))
        case Cause.MUTED | Cause.DEAD_MIC | Cause.STUCK | Cause.NOISE | Cause.TONE | Cause.DC:
            return tuple(Target((n,)) for n in _of(tracks, _ANY_MIC))
        case Cause.FADING | Cause.CREEPING:
            return tuple(Target((n,)) for n in _of(tracks, (Kind.LAV,)))
        case _:
            return tuple(Target((n,)) for n in _of(tracks, VOICES))


def _of(tracks: Sequence[Track], kinds: tuple[Kind, ...]) -> list[int]:
    return [track.input for track in tracks if track.kind in kinds]


def _all_at_once(tracks: Sequence[Track]) -> Iterator[Target]:
    """Every mic, where there are enough independent ones for slips to be told from chance."""
    mics = [track for track in tracks if track.kind in _ANY_MIC]
    if len({track.who or track.input for track in mics}) >= LEAST_MICS:
        yield Target(tuple(track.input for track in mics))


def _performers(tracks: Sequence[Track]) -> list[tuple[int, ...]]:
    """All packs of each performer."""
    packs: dict[str, list[int]] = {}
    for track in tracks:
        if track.kind in VOICES:
            packs.setdefault(track.who or f"input {track.input}", []).append(track.input)
    return [tuple(numbers) for numbers in packs.values()]


def _receivers(tracks: Sequence[Track]) -> list[tuple[int, ...]]:
    """Tracks of each receiver that has several."""
    behind: dict[str, list[int]] = {}
    for track in tracks:
        if track.receiver and track.kind in _ANY_MIC:
            behind.setdefault(track.receiver, []).append(track.input)
    return [tuple(numbers) for numbers in behind.values() if len(numbers) > 1]


def _pairs(tracks: Sequence[Track]) -> Iterator[tuple[int, int]]:
    """Main and safety of each performer, and the other way round."""
    lavs = [track for track in tracks if track.kind is Kind.LAV and track.who]
    for main in (track for track in lavs if track.level is PackLevel.MAIN):
        for safety in lavs:
            if safety.who == main.who and safety.level is PackLevel.SAFETY:
                yield main.input, safety.input
                yield safety.input, main.input


def _exchanged(tracks: Sequence[Track]) -> Iterator[Target]:
    """The mains of two performers, both of whom have a safety by which it shows."""
    pairs = [(one, other) for one, other in _pairs(tracks) if _is_main(tracks, one)]
    for number, (main, safety) in enumerate(pairs):
        for other_main, other_safety in pairs[number + 1 :]:
            yield Target((main, other_main), (safety, other_safety))


def _is_main(tracks: Sequence[Track], number: int) -> bool:
    return any(t.input == number and t.level is PackLevel.MAIN for t in tracks)


def _copies(tracks: Sequence[Track]) -> Iterator[Target]:
    """A mic whose cable went into a higher input as well, of somebody else."""
    others = [t for t in tracks if t.kind in VOICES and t.level is not PackLevel.SAFETY]
    pairs = tuple(_pairs(tracks))
    for source in others:
        for copy in others:
            if copy.input > source.input and not (copy.who and copy.who == source.who):
                both = (source.input, copy.input)
                yield Target(both, tuple(mate for pack, mate in pairs if pack in both))

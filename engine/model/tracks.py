"""Tracks and plan as the engine uses them: plain data, whatever file they came from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from engine.model.alarm_limits import LIMITS, Value
from engine.model.messages import Fault, Flags, Kind, Levels, PackLevel

BY_HAND: Final = "hand"
BY_TIMECODE: Final = "timecode"
"""What says that the recorder rolls: the crew, or record-run code that runs."""


@dataclass(frozen=True, slots=True)
class Track:
    """One input and what is known of it.

    `limits` holds only what the plan sets for this track; `kind_limits` what it sets for the kind.
    `planned`: somebody said what it carries, in the plan or in the take; else it may be empty.
    """

    input: int
    name: str = ""
    kind: Kind = Kind.LAV
    who: str = ""
    level: PackLevel | None = None
    pack: str = ""
    placement: str = ""
    receiver: str = ""
    battery: str = ""
    limits: Mapping[str, Value] = field(default_factory=dict)
    kind_limits: Mapping[str, Value] = field(default_factory=dict)
    planned: bool = field(default=True, compare=False)

    @property
    def label(self) -> str:
        """The name to show, never empty."""
        return self.name or f"Track {self.input}"

    def limit(self, name: str) -> Value:
        """The limit in force: the track's own, else the plan's for its kind, else the default."""
        for limits in (self.limits, self.kind_limits):
            if name in limits:
                return limits[name]
        return LIMITS[name].of(self.kind, self.level)


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan: its tracks in input order, and what stands at the head of a report.

    frame_rate : the rate in force; `stated_rate` is what the plan's own file says, "" where nothing
    ends : time of day at which the event is to end, as 23:30; "" where nobody said
    """

    tracks: tuple[Track, ...]
    title: str = ""
    frame_rate: str = "25"
    rolling: str = BY_HAND
    production: str = ""
    date: str = ""
    mixer: str = ""
    location: str = ""
    ends: str = ""
    stated_rate: str = ""

    def track(self, number: int) -> Track:
        """The track on that input; KeyError where there is none."""
        for track in self.tracks:
            if track.input == number:
                return track
        raise KeyError(number)

    def other_pack(self, number: int) -> int | None:
        """Input of the other of main and safety of the same `who`; None where there is none."""
        one = next((t for t in self.tracks if t.input == number and t.who and t.level), None)
        if one is None:
            return None
        others = (t.input for t in self.tracks if t.who == one.who and t.level and t != one)
        return next(others, None)


def plan_for(names: Iterable[str], title: str = "") -> Plan:
    """The plan of a take that has none: every track a lav, named from the file, else `Track n`."""
    tracks = tuple(
        Track(input=n, name=name or f"Track {n}", planned=bool(name))
        for n, name in enumerate(names, start=1)
    )
    return Plan(tracks=tracks, title=title)


@dataclass(frozen=True, slots=True)
class Scene:
    """What a detector is told once: the tracks, the sample rate, and what the plan says of code."""

    tracks: tuple[Track, ...]
    sample_rate_hz: int
    frame_rate: str = "25"
    rolling: str = BY_HAND

    def numbers(self, limit: str) -> Levels:
        """That limit for every track, shape (tracks,); NaN where it is left to the sound."""
        values = [track.limit(limit) for track in self.tracks]
        return np.array([math.nan if v is None else float(v) for v in values], dtype=np.float64)

    def watched(self, fault: Fault) -> Flags:
        """Where that fault is looked for at all, shape (tracks,)."""
        return np.array([t.limit(fault.value) != "off" for t in self.tracks], dtype=np.bool_)

    def kinds(self, *kinds: Kind) -> Flags:
        """Where the track is of one of those kinds, shape (tracks,)."""
        return np.array([t.kind in kinds for t in self.tracks], dtype=np.bool_)

    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Places (main, safety) in track order of the two packs of each `who` that has both."""
        index_of = {(t.who, t.level): n for n, t in enumerate(self.tracks) if t.who and t.level}
        return tuple(
            (n, index_of[who, PackLevel.SAFETY])
            for (who, level), n in index_of.items()
            if level is PackLevel.MAIN and (who, PackLevel.SAFETY) in index_of
        )

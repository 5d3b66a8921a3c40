"""Nights through the engine, several ends to each; what the signs are judged by is kept beside it.

The ten healthy minutes are watched once; from there the watch is copied for each end of the night.
An end is over once every failure in it is decided: its alarm came, or its sign has stood for longer
than it must come ahead. The alarms of a night depend on nothing that the signs do, so that an end
that was watched once can be judged again by other charts within a second (`judged`).
"""

from __future__ import annotations

import copy
import pickle
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from engine.early_signs.period import Period
from engine.early_signs.sign_watch import SignWatch
from engine.model.early_signs import SignEvent, SignKind
from engine.model.fault_remedies import FAULTS
from engine.model.messages import AlarmEvent, EventKind, Flags
from engine.model.tracks import Plan, Scene
from engine.pipeline.measure_ahead import ticks_at_once
from engine.pipeline.pipeline import Pipeline
from tests.benchmarks.early_signs.failures import SHOWS
from tests.benchmarks.early_signs.stage import HEALTHY_S, PACKS, Stage, tracks
from tests.benchmarks.night.sounds import Audio
from tests.benchmarks.night.voices import RATE
from tests.support.checkout import ROOT

FIGURES: Final = ROOT / ".artefacts" / "early_signs"
EARLY_S: Final = 60.0
"""So long before its alarm a sign is to be told."""
LEFT_OUT: Final = frozenset(
    {"swapped", "duplicate", "clock", "timecode_lost", "timecode_wrong", "recorder_stopped"}
)
"""Rules in which no failure of these ends; a third of the engine's time."""


@dataclass(slots=True)
class Story:
    """What one end of a night had: alarms of each input, and the figures of each period.

    kinds : what fails on each performer's main pack
    amber_s, fault : of the first alarm of each input once things fail, stream time, s
    healthy_alarms : of what was healthy, as (input, fault, moment)
    periods : figures, and the tracks that were judged
    signs : every sign as (input, kind, moment)
    end_s : how far it was watched
    """

    kinds: list[SignKind] = field(default_factory=list)
    amber_s: dict[int, float] = field(default_factory=dict)
    fault: dict[int, str] = field(default_factory=dict)
    healthy_alarms: list[tuple[int, str, float]] = field(default_factory=list)
    periods: list[tuple[Period, Flags]] = field(default_factory=list)
    signs: list[tuple[int, SignKind, float]] = field(default_factory=list)
    end_s: float = 0.0

    def told_s(self, number: int) -> float | None:
        """When the failure of that input was told first, before its alarm; None where it was not.

        A sign of another kind that such a failure shows as well counts.
        """
        kind = self.kinds[number // 2]
        last_s = self.amber_s.get(number, self.end_s)
        said = (s for n, k, s in self.signs if n == number and k in {kind, *SHOWS[kind]})
        return min((s for s in said if HEALTHY_S < s <= last_s), default=None)

    def is_decided(self) -> bool:
        """Whether nothing that is still to come changes what is counted."""
        for number in range(1, PACKS, 2):
            told_s = self.told_s(number)
            early = told_s is not None and self.end_s - told_s >= EARLY_S
            if number not in self.amber_s and not early:
                return False
        return True


class _KeepsFigures(SignWatch):
    """Writes down what it judges."""

    def __init__(self, scene: Scene) -> None:
        super().__init__(scene)
        self.story = Story()

    def judge(self, period: Period, usable: Flags) -> list[SignEvent]:
        """The same, written down."""
        self.story.periods.append((period, usable.copy()))
        events = super().judge(period, usable)
        self.story.signs += _began(events)
        return events


class _Night:
    """A watch with its story; a copy of it goes on by itself."""

    def __init__(self) -> None:
        rules = [rule for rule in FAULTS if rule.name not in LEFT_OUT]
        self._pipeline = Pipeline(Plan(tracks()), RATE, rules)
        self._signs = _KeepsFigures(self._pipeline.scene)
        self._pipeline.outlook._signs = self._signs
        self.story = self._signs.story

    def watch(self, sound: Audio) -> None:
        """Take in a piece."""
        self.story.end_s += len(sound) / RATE
        for tick in self._pipeline._framer.feed(sound, ticks_at_once(len(tracks()))):
            for event in self._pipeline.take_in(tick):
                self._note(event)

    def _note(self, event: AlarmEvent) -> None:
        incident, story = event.alarm.incident, self.story
        if event.kind is not EventKind.RAISED or incident.track is None:
            return
        number, fault = incident.track, incident.fault.value
        if number in range(1, PACKS, 2) and event.at_s >= HEALTHY_S:
            story.amber_s.setdefault(number, event.at_s)
            story.fault.setdefault(number, fault)
        else:
            story.healthy_alarms.append((number, fault, event.at_s))


def watched(seed: int, ends: int, model: str) -> Iterator[Story]:
    """Each end of that night, from its sound."""
    stage, lead = Stage(seed), _Night()
    for sound in stage.healthy():
        lead.watch(sound)
    for end in range(ends):
        night = copy.deepcopy(lead)
        night.story.kinds, pieces = stage.failing(end, model)
        for sound in pieces:
            night.watch(sound)
            if night.story.is_decided():
                break
        yield night.story


def figures_of(seed: int, end: int, model: str) -> Path:
    """Where the figures of an end are kept."""
    return Path(FIGURES / f"{model}-{seed}-{end}.pickle")


def kept(seed: int, ends: int, model: str) -> Iterator[Story]:
    """Those ends as they were watched before; watched now where one was not."""
    paths = [figures_of(seed, end, model) for end in range(ends)]
    if all(path.exists() for path in paths):
        for path in paths:
            story: Story = pickle.loads(path.read_bytes())
            story.signs = judged(story)
            yield story
        return
    FIGURES.mkdir(parents=True, exist_ok=True)
    for path, story in zip(paths, watched(seed, ends, model), strict=True):
        path.write_bytes(pickle.dumps(story))
        yield story


def judged(story: Story) -> list[tuple[int, SignKind, float]]:
    """Every sign of an end by the charts of today."""
    watch = SignWatch(Scene(tracks(), RATE))
    return [
        sign for period, usable in story.periods for sign in _began(watch.judge(period, usable))
    ]


def _began(events: list[SignEvent]) -> list[tuple[int, SignKind, float]]:
    return [(n, e.sign.kind, e.at_s) for e in events if e.began for n in e.sign.tracks]

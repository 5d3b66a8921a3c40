"""One session through the whole engine; what the early signs are judged by is kept beside it.

The alarms of a session depend on nothing that the signs do, so that a session that was watched once
can be judged again by other charts within a second (`judged`).
"""

from __future__ import annotations

import pickle
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from engine.early_signs.period import Period
from engine.early_signs.sign_watch import SignWatch
from engine.model.early_signs import SignKind
from engine.model.messages import EventKind, Flags
from engine.model.tracks import Plan, Scene
from engine.pipeline.measure_ahead import ticks_at_once
from engine.pipeline.pipeline import Pipeline
from tests.benchmarks.early_signs.fading_links import LINKS
from tests.benchmarks.early_signs.failures import WAYS, Way
from tests.benchmarks.early_signs.stage import HEALTHY_S, pieces, tracks
from tests.benchmarks.night.voices import RATE
from tests.support.checkout import ROOT

FIGURES = ROOT / ".artefacts" / "early_signs"
MODELS: Final[dict[str, Mapping[SignKind, Way]]] = {"all": WAYS, "links": LINKS}


@dataclass(slots=True)
class Story:
    """What one session had: alarms of each input, and the figures of each period.

    kinds : what fails on each performer's main pack
    amber_s, fault : of the first alarm of each input once things fail, stream time, s
    healthy_alarms : of what was healthy, as (input, fault, moment)
    periods : figures, and the tracks that were judged
    """

    kinds: list[SignKind]
    amber_s: dict[int, float] = field(default_factory=dict)
    fault: dict[int, str] = field(default_factory=dict)
    healthy_alarms: list[tuple[int, str, float]] = field(default_factory=list)
    periods: list[tuple[Period, Flags]] = field(default_factory=list)


class _KeepsFigures(SignWatch):
    """Writes down what it judges."""

    story: Story | None = None

    def judge(self, period: Period, usable: Flags) -> list:  # type: ignore[type-arg]
        """The same, written down."""
        if self.story is not None:
            self.story.periods.append((period, usable.copy()))
        return super().judge(period, usable)


def watched(seed: int, ways: Mapping[SignKind, Way] = WAYS) -> Story:
    """One session, from its sound."""
    pipeline, story = Pipeline(Plan(tracks()), RATE), Story([])
    signs = _KeepsFigures(pipeline.scene)
    signs.story = story
    pipeline.outlook._signs = signs
    failing = {2 * n + 1 for n in range(len(tracks()) // 2)}
    at_once = ticks_at_once(len(tracks()))
    for sound, failures in pieces(seed, ways):
        story.kinds = [one.kind for one in failures]
        for tick in pipeline._framer.feed(sound, at_once):
            for event in pipeline.take_in(tick):
                incident = event.alarm.incident
                if event.kind is not EventKind.RAISED or incident.track is None:
                    continue
                if incident.track in failing and event.at_s >= HEALTHY_S:
                    story.amber_s.setdefault(incident.track, event.at_s)
                    story.fault.setdefault(incident.track, incident.fault.value)
                else:
                    told = (incident.track, incident.fault.value, event.at_s)
                    story.healthy_alarms.append(told)
    return story


def figures_of(seed: int, model: str) -> Path:
    """Where a session's figures are kept."""
    return Path(FIGURES / f"{model}-{seed}.pickle")


def kept(seed: int, model: str = "all") -> Story:
    """That session as it was watched before; watched now where it was not."""
    path = figures_of(seed, model)
    if path.exists():
        story: Story = pickle.loads(path.read_bytes())
        return story
    story = watched(seed, MODELS[model])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(pickle.dumps(story))
    return story


def judged(story: Story) -> list[tuple[int, SignKind, float]]:
    """Every sign of a session as (input, kind, moment)."""
    watch = SignWatch(Scene(tracks(), RATE))
    events = [event for period, usable in story.periods for event in watch.judge(period, usable)]
    return [(n, e.sign.kind, e.at_s) for e in events if e.began for n in e.sign.tracks]

"""Feeds a take to a meter tick by tick."""

from __future__ import annotations

from engine.measure.meter import Meter, Totals
from engine.model.messages import Flags, Measurement, Samples
from engine.model.tracks import Scene
from tests.support.signals import scene


def run(
    samples: Samples, what: Scene, missing: Flags | None = None
) -> tuple[Meter, list[Measurement]]:
    """A meter that has heard the whole take, and its measurements."""
    meter = Meter(what)
    size = meter.tick_frames
    whole = len(samples) - len(samples) % size
    lost = [None if missing is None else missing[at : at + size] for at in range(0, whole, size)]
    measured = [
        meter.update(samples[at : at + size], gap)
        for at, gap in zip(range(0, whole, size), lost, strict=True)
    ]
    meter.finish(samples[whole:], None if missing is None else missing[whole:])
    return meter, measured


def measure(samples: Samples, rate_hz: int) -> tuple[Totals, Measurement]:
    """The totals of a take, and its last measurement; at least one tick."""
    meter, measured = run(samples, scene(samples.shape[1], rate_hz))
    return meter.totals(), measured[-1]


def in_turn(samples: Samples, rate_hz: int, every_ticks: int) -> list[Totals]:
    """The totals after each so many ticks, as a live meter shows them."""
    meter = Meter(scene(samples.shape[1], rate_hz))
    size = meter.tick_frames
    seen: list[Totals] = []
    for tick in range(len(samples) // size):
        meter.update(samples[tick * size : (tick + 1) * size])
        if (tick + 1) % every_ticks == 0:
            seen.append(meter.totals())
    return seen

"""Timecode on a live input that is planned as something else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.model.commands import Open, Watch
from engine.model.frame_rates import FRAME_RATES
from engine.model.messages import Kind, Samples
from engine.model.snapshot import Snapshot
from engine.runtime.code_finder import AGAIN_S, CodeFinder
from engine.runtime.host import Host
from engine.runtime.runner import Runner
from engine.sources.synthetic import ArraySource
from engine.timecode.ltc_encoder import ltc
from tests.support.signals import noise

RATE = 48_000
RATE_25 = FRAME_RATES["25"]


def sound(seconds: float, code_from_s: float = 0.0) -> Samples:
    """Two tracks of the place, and one of code from that time on."""
    place = noise(-50.0, seconds, RATE, tracks=3)
    code = ltc(RATE_25, 90_000, round((seconds - code_from_s) * 25), RATE, level_dbfs=-10.0)
    place[len(place) - len(code) :, 2] = code
    return place


def watched(samples: Samples) -> tuple[list[Watch], list[Snapshot], Runner]:
    """A watch of a source that can't be looked into before; it delivers those samples."""
    told: list[Watch] = []
    shots: list[Snapshot] = []
    source = ArraySource(samples, RATE)
    source.info = replace(source.info, growing=True)
    runner = Runner(
        Open(take="x"), shots.append, Host(open_source=lambda _r: source), on_plan=told.append
    )
    while not runner.input.ended:
        runner._turn()
    shots.append(runner.snapshot())
    return told, shots, runner


def test_code_is_read_as_code_and_not_alarmed() -> None:
    """Told once with its track; windows get the plan, and nothing of it is left on the board."""
    told, shots, runner = watched(sound(8.0))
    assert [t.kind for t in told[-1].plan.tracks] == [Kind.LAV, Kind.LAV, Kind.TIMECODE]
    assert len(told) == 1
    assert any("track 3" in shot.notice and "carries timecode" in shot.notice for shot in shots)
    late = [shot for shot in shots if shot.now_s > 0.5]
    assert late
    assert [a for shot in late for a in shot.alarms if a.incident.track == 3] == []
    assert runner.pipeline.clock.label_at(7.0)[0] == RATE_25.label(90_000 + 7 * 25)


def test_code_that_comes_later_is_found_then() -> None:
    """A recorder that sends code while it rolls: within a second, and alarmed no longer then."""
    told, shots, _ = watched(sound(12.0, code_from_s=3.0))
    assert told[-1].plan.tracks[2].kind is Kind.TIMECODE
    assert len(told) == 1
    late = [shot for shot in shots if shot.now_s > 4.0]
    assert late
    assert [a for shot in late for a in shot.alarms if a.incident.track == 3] == []


@pytest.mark.parametrize("block", [480, 4_800, 500_000])
def test_blocks_of_any_length_are_looked_at(block: int) -> None:
    """The same looks, however the samples come."""
    samples = sound(4.0, code_from_s=1.5)
    finder = CodeFinder(RATE)
    found = [finder.take_in(samples[n : n + block]) for n in range(0, len(samples), block)]
    assert (3,) in found


def test_a_place_has_no_code() -> None:
    """Noise and a square tone are none."""
    square = np.sign(np.sin(2 * np.pi * 1000.0 * np.arange(RATE * 2) / RATE))
    samples = np.stack([noise(-30.0, 2.0, RATE)[:, 0], 0.5 * square.astype(np.float32)], axis=1)
    assert CodeFinder(RATE).take_in(samples) == ()


def test_a_tone_gives_way_to_code() -> None:
    """What looked like code and was none is read again: a line-up tone, then the code."""
    seconds = 2.0 + 2.0 * AGAIN_S
    tone = 0.3 * np.sin(2 * np.pi * 1000.0 * np.arange(round(seconds * RATE)) / RATE)
    tone = tone.astype(np.float32)[:, None]
    code = ltc(RATE_25, 90_000, 50, RATE, level_dbfs=-10.0)
    tone[-len(code) :, 0] = code
    finder = CodeFinder(RATE)
    found = [finder.take_in(tone[n : n + 4_800]) for n in range(0, len(tone), 4_800)]
    assert (1,) in found

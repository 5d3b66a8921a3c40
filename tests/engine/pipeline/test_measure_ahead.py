"""Measuring here and in a process of its own."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Samples
from engine.model.tracks import Plan, Scene, plan_for
from engine.pipeline import measure_ahead
from engine.pipeline.framing import TickFramer
from engine.pipeline.scan import scan_source, scan_take
from engine.pipeline.scan_document import document
from engine.sources.base import SourceError
from engine.sources.take import open_take
from tests.support.signals import scene
from tests.support.strategies import cuts, takes, untimed

RATE = 48_000


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Two tracks of noise for four seconds and a bit; the second is muted for two of them."""
    rng = np.random.default_rng(11)
    samples = 0.01 * rng.standard_normal((4 * RATE + 1234, 2))
    samples[RATE : 3 * RATE, 1] = 0.0
    path = tmp_path / "take.wav"
    sf.write(path, samples, RATE, subtype="PCM_24")
    return path


@pytest.fixture
def plan() -> Plan:
    """Two plain tracks."""
    return plan_for(["one", "two"])


def test_ahead_gives_the_same_document(
    take: Path, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A scan on two cores says exactly what a scan on one says."""
    here = document(scan_source(open_take(take), plan, path=take))
    monkeypatch.setattr(measure_ahead, "FORK_WORTH_S", 0.0)
    monkeypatch.setattr(measure_ahead, "SPAWN_WORTH_S", 0.0)
    ahead = document(scan_take(take, plan))
    assert ahead == here
    assert [i["fault"] for i in ahead["incidents"]] == ["muted"]


@untimed
@given(data=st.data(), sound=takes(), at_once=st.integers(2, 9))
def test_ticks_taken_together_are_those_taken_alone(
    data: st.DataObject, sound: Samples, at_once: int
) -> None:
    """Wherever blocks are cut, several ticks at once give the ticks of one at a time."""
    what = scene(sound.shape[1], 8_000)
    alone, together = TickFramer(what), TickFramer(what)
    expected = list(alone.feed(sound))
    found = [
        tick
        for begin, end in pairwise(data.draw(cuts(len(sound))))
        for tick in together.feed(sound[begin:end], at_once)
    ]
    assert [tick.number for tick in found] == [tick.number for tick in expected]
    for one, other in zip(found, expected, strict=True):
        np.testing.assert_array_equal(one.measurement.samples, other.measurement.samples)
        assert one.measurement.start_s == other.measurement.start_s
    assert together.fed_s == alone.fed_s


def test_a_take_that_can_not_be_read_is_said_as_here(tmp_path: Path, plan: Plan) -> None:
    """What the other process can't read comes back as the same one line."""
    gone = tmp_path / "gone.wav"
    with pytest.raises(SourceError, match=r"gone\.wav"):
        list(measure_ahead.measure_ahead(gone, Scene(plan.tracks, RATE)))


def test_leaving_early_ends_the_process(take: Path, plan: Plan) -> None:
    """Who stops listening leaves no process behind."""
    stretches = measure_ahead.measure_ahead(take, Scene(plan.tracks, RATE))
    next(stretches)
    stretches.close()
    assert not measure_ahead.multiprocessing.active_children()


def test_a_short_take_is_not_worth_a_process() -> None:
    """Only a take that lasts is measured by another process."""
    assert not measure_ahead.is_worth_it(1.0)
    assert measure_ahead.is_worth_it(3600.0)

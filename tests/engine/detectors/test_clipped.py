"""Clipped: flat tops at full scale or a lower ceiling.

What counts as evidence is the project's contract; that a loud peak is none is too.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.clipped import Clipped
from engine.model import Kind, Samples, State
from engine.tracks import Scene, Track
from tests.engine.detectors.watching import Told, lost, told
from tests.signals import scene, sine

RATE = 48_000


def overload(
    ceiling: float, drive_db: float = 6.0, first_s: float = 1.0, last_s: float = 1.5
) -> Samples:
    """Three seconds of a 440 Hz tone, driven over a hard ceiling for a while."""
    x = sine(20 * np.log10(ceiling) - 3.0, 3.0, RATE, hz=440.0)
    span = slice(round(first_s * RATE), round(last_s * RATE))
    x[span] = np.clip(x[span] * 10 ** ((3.0 + drive_db) / 20), -ceiling, ceiling)
    return x


def clipped(samples: Samples, where: Scene | None = None) -> Told:
    """What is said of the first track."""
    where = where or scene()
    return told(Clipped(where), samples, where)


@pytest.mark.parametrize("ceiling", [1.0, 0.89, 0.25])
def test_flat_tops_at_any_ceiling(ceiling: float) -> None:
    """An overload is told at full scale and at lower ceilings, while it lasts and no longer."""
    said = clipped(overload(ceiling))
    active_s = [n / 10 for n, state in enumerate(said.states) if state is State.ACTIVE]
    assert active_s[0] == pytest.approx(1.0)
    assert active_s[-1] == pytest.approx(1.5, abs=0.11)
    assert said.spans_s[0][0] == pytest.approx(1.0, abs=0.1)
    assert said.spans_s[-1][1] == pytest.approx(1.5, abs=0.1)


def test_one_side_only() -> None:
    """Flat tops on one side are enough."""
    x = overload(0.9)
    x[x < 0] *= 0.5
    assert State.ACTIVE in clipped(x).states


@pytest.mark.parametrize("level_dbfs", [-0.3, 0.0, -12.0])
def test_loud_is_not_clipped(level_dbfs: float) -> None:
    """A tone up to full scale without flat tops is no fault."""
    assert State.ACTIVE not in clipped(sine(level_dbfs, 3.0, RATE, hz=997.0)).states


def test_silence_is_not_clipped() -> None:
    """Digital zero is flat, but no overload."""
    assert State.ACTIVE not in clipped(np.zeros((RATE, 1), dtype=np.float32)).states


def test_one_short_overload_does_not_go_on() -> None:
    """Half a second of it does not deserve red; three of the last ten seconds do."""
    assert not clipped(overload(1.0)).may_be_red
    assert clipped(overload(1.0, first_s=0.1, last_s=2.9)).may_be_red


def test_lost_audio_is_unknown() -> None:
    """A tick that was lost whole says nothing."""
    where, x = scene(), sine(-10.0, 1.0, RATE)
    x[RATE // 2 :] = 0.0
    said = told(Clipped(where), x, where, missing=lost(len(x), (RATE // 2, RATE)))
    assert said.states[5:] == [State.UNKNOWN] * 5


@pytest.mark.parametrize("kind", [Kind.COMMS, Kind.TIMECODE, Kind.UNUSED])
def test_kinds_without_clipping(kind: Kind) -> None:
    """Comms, timecode and unused tracks are not looked at."""
    where = Scene((Track(1, kind=kind),), RATE)
    assert State.ACTIVE not in clipped(overload(1.0), where).states

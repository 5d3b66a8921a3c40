"""What a log is fed with, made by hand."""

from __future__ import annotations

import numpy as np

from engine.alarms.book_checkpoint import BookCheckpoint
from engine.measure.meter import Totals
from engine.model.commands import Open, Watch
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.messages import Fault, Incident, Measurement, Severity
from engine.model.tracks import Plan, Track
from engine.session.checkpoint import Checkpoint
from engine.sources.base import HOST_API, SourceInfo

PLAN = Plan((Track(1, "Foreman main", pack="1"), Track(4, "Boom scaffold")), "Tower night")
WATCH = Watch(PLAN, "tower interface", "48 kHz", live=True, start_s=3600.0)
REQUEST = Open(device="tower")
INFO = SourceInfo("tower interface", 48_000, 8, ("",) * 8, fields={HOST_API: "ALSA"}, live=True)


def tick(number: int, peak: float = 0.5, lufs: float = -23.0, valid: bool = True) -> Measurement:
    """One tick of two tracks: a square wave of that peak on both."""
    hops = np.ones((10, 2))
    flat = np.full(2, -40.0)
    return Measurement(
        start_s=number / 10,
        end_s=number / 10 + 0.1,
        hop_s=0.01,
        samples=np.zeros((4800, 2), dtype=np.float32),
        peak_max=hops * peak / 2,
        peak_min=-hops * peak,
        mean_square=hops * peak**2,
        valid=hops.astype(bool) & valid,
        lost=np.zeros(2, dtype=np.int64),
        momentary_lufs=np.array([lufs, np.nan]),
        short_term_lufs=flat,
        level_dbfs=flat,
        floor_dbfs=flat,
        presence_dbfs=flat,
        present=np.ones(2, dtype=bool),
        any_valid=np.full(2, valid),
        all_valid=valid,
        peak=hops * peak,
        speech=hops.astype(bool),
        dc_offset=np.zeros(2),
        source_stopped=np.zeros(2, dtype=np.bool_),
        gain_step_db=np.zeros(2),
        decimated=np.zeros((2, 200), dtype=np.float32),
        difference_energy=np.zeros((10, 2), dtype=np.float32),
        sibilance_energy=np.zeros((10, 2), dtype=np.float32),
    )


def label(at_s: float) -> str:
    """The timecode label of that stream time."""
    return label_at(WATCH.start_s + at_s, FRAME_RATES[PLAN.frame_rate])


def totals(tracks: int = 2) -> Totals:
    """What a meter tells of tracks that peaked at half scale."""
    levels = (-23.0, -20.0, -22.0, -5.9, -6.0, -24.0, 0.0, -60.0, 1.0)
    return Totals(*(np.full(tracks, level) for level in levels))


def kept() -> Checkpoint:
    """What a restart needs, of a watch where nothing happened."""
    return Checkpoint(
        1.0, 0.0, (-60.0, float("nan")), BookCheckpoint(False, (), 0, ()), 5.0, "one", 0
    )


def red_incident(number: int = 1) -> Incident:
    """A red incident on track 1."""
    return Incident(number, 1, Fault.MUTED, Severity.RED, 0.5, amber_s=1.0, red_s=2.5)

"""Measurements of a quiet place made by hand, without a meter: for what watches whole nights."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from engine.model.messages import Measurement


def measured(number: int, tracks: int, rng: np.random.Generator, **changed: Any) -> Measurement:
    """Tick `number` of room tone at -60 dBFS on each track; `changed` replaces what it says."""
    hops = np.ones((10, tracks))
    sound = (rng.standard_normal((tracks, 200)) * 1e-3).astype(np.float32)
    level = np.full(tracks, -60.0)
    whole = Measurement(
        start_s=number / 10,
        end_s=(number + 1) / 10,
        hop_s=0.01,
        samples=np.zeros((0, tracks), dtype=np.float32),
        peak_max=hops * 3e-3,
        peak_min=-hops * 3e-3,
        mean_square=hops * 1e-6,
        valid=hops.astype(bool),
        lost=np.zeros(tracks, dtype=np.int64),
        momentary_lufs=level,
        short_term_lufs=level,
        level_dbfs=level,
        floor_dbfs=level,
        presence_dbfs=level - 8.0,
        present=np.ones(tracks, dtype=bool),
        any_valid=np.ones(tracks, dtype=bool),
        all_valid=True,
        peak=hops * 3e-3,
        speech=hops > 2.0,
        decimated=sound,
        difference_energy=np.full((10, tracks), 3e-7, dtype=np.float32),
        sibilance_energy=np.zeros((10, tracks), dtype=np.float32),
        dc_offset=np.zeros(tracks),
        source_stopped=np.zeros(tracks, dtype=bool),
        gain_step_db=np.zeros(tracks),
        quietest_db=np.full((4, tracks), -66.0, dtype=np.float32),
    )
    return replace(whole, **changed)

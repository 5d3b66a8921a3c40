"""What the watch itself sets down in the history: things that happened and are no fault. Pure."""

from __future__ import annotations

import numpy as np

from engine.model.commands import Mark
from engine.model.messages import Measurement
from engine.model.tracks import Plan


def own_marks(m: Measurement, plan: Plan) -> list[Mark]:
    """The marks of one tick: a gain that was turned by hand, with its track and how far."""
    marks = []
    for track_index in np.flatnonzero(m.gain_step_db):
        track = plan.tracks[track_index]
        gain = f"{m.gain_step_db[track_index]:+.0f} dB".replace("-", "\u2212")
        marks.append(Mark(f"gain {gain}: {track.input} {track.label}", m.end_s))
    return marks

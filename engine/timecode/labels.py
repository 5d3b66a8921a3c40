"""The label of an Out point, and how far two clocks differ as a label."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from engine.model.frame_rates import FrameRate

Label = Callable[[float], str]
"""The label of any stream time, seconds: of the frame that runs then."""

_ON_FRAME: Final = 2e-3
"""Frames after a frame's start within which a moment counts as on it; see `clock`."""


def first_after(label: Label, at_s: float, rate: FrameRate) -> str:
    """The label of the first whole frame from that moment on: an Out point that leaves nothing in.

    A moment on a frame's start has that frame's own label.
    """
    frame_s = 1.0 / float(rate.rate)
    here = label(at_s)
    if label(at_s - _ON_FRAME * frame_s) != here:
        return here
    return label(at_s + frame_s)


def difference(frames: int, rate: FrameRate) -> str:
    """So many labels as a signed time: +01:00:00:00, −00:00:00:01."""
    sign = "+" if frames >= 0 else "\u2212"
    return sign + rate.label(abs(frames))

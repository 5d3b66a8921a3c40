"""How far a take's own labels are ahead of those of the session."""

from __future__ import annotations

from collections.abc import Callable
from statistics import fmean, median
from typing import Final

from engine.model.frame_rates import FrameRate
from engine.verify.follow import Course

_MOMENTS: Final = 101
_LEAST_S: Final = 0.5


def frames_ahead(
    take_label: Callable[[float], str],
    session_label: Callable[[float], str],
    course: Course,
    duration_s: float,
    rate: FrameRate,
) -> int | None:
    """Frames by which the take's labels are ahead, rounded; None where one of them has none.

    Labels are whole frames, so many moments spread over a stretch tell the fraction.
    """
    length_s = min(duration_s, 10.0)
    if length_s < _LEAST_S:
        return None
    day, apart = rate.frames_per_day, []
    try:
        for n in range(_MOMENTS):
            at_s = length_s * (n + 0.37) / _MOMENTS
            frames = rate.frame(take_label(at_s)) - rate.frame(
                session_label(course.session_s(at_s))
            )
            apart.append((frames + day // 2) % day - day // 2)
    except ValueError:
        return None
    middle = median(apart)  # code that jumps on the way moves no mean
    near = [frames for frames in apart if abs(frames - middle) <= 1]
    return round(fmean(near or apart))


def in_words(frames: int, rate: FrameRate) -> str:
    """That offset as a time and frames."""
    if abs(frames) < rate.labels_per_s:
        return f"{abs(frames)} {'frame' if abs(frames) == 1 else 'frames'}"
    return rate.label(abs(frames))

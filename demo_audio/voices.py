"""The spoken lines, laid out on the timeline of the take."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import soundfile
from numpy.typing import NDArray

from demo_audio.script import DURATION_S, RECIPE_DIR, SLOT_S, WORLD_HZ, Effort, Line, Script

Sound = NDArray[np.float64]

PEAK_DBFS: Final[Mapping[Effort, float]] = {
    Effort.SAY: -13.0,
    Effort.CALL: -10.0,
}
"""Sample peak of a line on its wearer's main pack, before the pack's own colour."""

WORLD_FRAMES: Final = round(DURATION_S * WORLD_HZ)


def load_lines(script: Script) -> dict[Line, Sound]:
    """Every line at its source's own level, shape (frames,), silence of its slot trimmed."""
    slot = round(SLOT_S * WORLD_HZ)
    lines = {}
    for who in script.voices:
        sound, rate_hz = soundfile.read(RECIPE_DIR / f"{who}.flac")
        if rate_hz != WORLD_HZ:
            raise ValueError(f"{who}.flac is at {rate_hz} Hz, not {WORLD_HZ}: run demo_audio.speak")
        for line in script.lines:
            if line.who == who:
                cut = sound[line.slot * slot : (line.slot + 1) * slot]
                lines[line] = cut[: np.flatnonzero(cut)[-1] + 1]
    return lines


def stems(lines: Mapping[Line, Sound]) -> dict[str, Sound]:
    """What each role says all through the take, as its own main pack hears it."""
    out = {line.who: np.zeros(WORLD_FRAMES) for line in lines}
    for line, sound in lines.items():
        start = round(line.at_s * WORLD_HZ)
        end = min(start + len(sound), WORLD_FRAMES)
        gain = 10.0 ** (PEAK_DBFS[line.effort] / 20.0) / np.max(np.abs(sound))
        out[line.who][start:end] += gain * sound[: end - start]
    return out

"""A rendered demo take, read back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from demo_audio import DemoTake, demo_take
from demo_audio.script import DURATION_S
from engine.model.units import rms_dbfs


@dataclass(frozen=True, slots=True)
class Rendered:
    """A rendered take, read back by a general audio library: samples of shape (frames, tracks)."""

    made: DemoTake
    rate_hz: int
    samples: NDArray[np.float32]
    truth: dict[str, Any]

    def track(
        self, number: int, start_s: float = 0.0, end_s: float = DURATION_S
    ) -> NDArray[np.float64]:
        """Part of one track, shape (frames,)."""
        cut = slice(round(start_s * self.rate_hz), round(end_s * self.rate_hz))
        return self.samples[cut, number - 1].astype(np.float64)

    def levels_dbfs(
        self, number: int, start_s: float = 0.0, end_s: float = DURATION_S
    ) -> NDArray[np.float64]:
        """AES17 RMS of one track in steps of 400 ms."""
        sound = self.track(number, start_s, end_s)
        window = round(0.4 * self.rate_hz)
        pieces = sound[: len(sound) // window * window].reshape(-1, window)
        return rms_dbfs(np.mean(np.square(pieces), axis=1))

    def fault(self, word: str) -> dict[str, Any]:
        """The one planted fault of that name."""
        planted: list[dict[str, Any]] = self.truth["faults"]
        (found,) = [fault for fault in planted if fault["fault"] == word]
        return found


def read_back(folder: Path, healthy: bool) -> Rendered:
    """Render where needed and read."""
    made = demo_take(folder, healthy=healthy)
    samples, rate_hz = soundfile.read(made.take, dtype="float32", always_2d=True)
    return Rendered(made, rate_hz, samples, json.loads(made.truth.read_text(encoding="utf-8")))

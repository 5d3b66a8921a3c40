"""DETECTORS: which detector looks for which fault; its rule is in `engine.model.fault_remedies`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from engine.detectors.base import Detector
from engine.detectors.clipped import Clipped
from engine.detectors.clock_slip import Clock
from engine.detectors.crackle import Crackle
from engine.detectors.dc import DC
from engine.detectors.dead_mic import DeadMic
from engine.detectors.dropout import Dropout
from engine.detectors.duplicate import Duplicate
from engine.detectors.hum import Hum
from engine.detectors.input_lost import InputLost
from engine.detectors.invalid_samples import InvalidSamples
from engine.detectors.low import Low
from engine.detectors.muted import Muted
from engine.detectors.noise import Noise
from engine.detectors.noise_burst import NoiseBurst
from engine.detectors.pair_drift import PairDrift
from engine.detectors.polarity import Polarity
from engine.detectors.recorder_stopped import RecorderStopped
from engine.detectors.samples_lost import SamplesLost
from engine.detectors.silent import Silent
from engine.detectors.stuck import Stuck
from engine.detectors.swapped import Swapped
from engine.detectors.timecode_lost import TimecodeLost
from engine.detectors.timecode_wrong import TimecodeWrong
from engine.detectors.tone import Tone
from engine.detectors.unexpected import Unexpected

DETECTORS: Final[Mapping[str, type[Detector]]] = {
    "muted": Muted,
    "stuck": Stuck,
    "dead_mic": DeadMic,
    "silent": Silent,
    "dropout": Dropout,
    "crackle": Crackle,
    "noise_burst": NoiseBurst,
    "noise": Noise,
    "clipped": Clipped,
    "low": Low,
    "hum": Hum,
    "tone": Tone,
    "dc": DC,
    "duplicate": Duplicate,
    "polarity": Polarity,
    "pair_drift": PairDrift,
    "swapped": Swapped,
    "unexpected": Unexpected,
    "timecode_lost": TimecodeLost,
    "timecode_wrong": TimecodeWrong,
    "recorder_stopped": RecorderStopped,
    "input_lost": InputLost,
    "clock": Clock,
    "samples_lost": SamplesLost,
    "invalid_samples": InvalidSamples,
}
"""By the name of the rule."""

FORESIGHTED: Final = frozenset(
    name for name, detector in DETECTORS.items() if hasattr(detector, "look_ahead")
)
"""Those of them that make half of their work for many ticks at once (`ForesightedDetector`)."""

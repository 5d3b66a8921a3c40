"""DETECTORS: one row a fault. To add one, write its file and its row; nothing else changes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from engine.detectors.base import Detector
from engine.detectors.bursts import TOGETHER_S
from engine.detectors.clipped import Clipped
from engine.detectors.dead_mic import DeadMic
from engine.detectors.dropout import Dropout
from engine.detectors.duplicate import Duplicate
from engine.detectors.hum import Hum
from engine.detectors.input_lost import InputLost
from engine.detectors.invalid_samples import InvalidSamples
from engine.detectors.low import Low
from engine.detectors.muted import Muted
from engine.detectors.noise_burst import NoiseBurst
from engine.detectors.pair_drift import PairDrift
from engine.detectors.polarity import Polarity
from engine.detectors.recorder_stopped import RecorderStopped
from engine.detectors.samples_lost import SamplesLost
from engine.detectors.silent import Silent
from engine.detectors.timecode_lost import TimecodeLost
from engine.detectors.timecode_wrong import TimecodeWrong
from engine.detectors.unexpected import Unexpected
from engine.model.limits import NEVER
from engine.model.messages import Fault


class Scope(Enum):
    """What one condition of a detector speaks of."""

    TRACK = auto()
    INPUT = auto()


@dataclass(frozen=True, slots=True)
class Row:
    """How one fault is looked for, delayed, shown and answered.

    amber_s, red_s : on-delay from the fault's own onset; the name of a limit, or seconds
    off_s : off-delay; the condition must be gone this long before the incident ends
    family, rank : of one family a track has one incident at a time, named by the highest rank
    spoils : the audio is unusable, so the pack covers nobody
    red_if_uncovered : red only while no healthy cover exists
    in_standby : stays an alarm while the crew is not rolling
    needs_samples : its detector looks at every sample, and of `Feed` at nothing but the time and
        the lost frames, so it may work where the sound is measured (`engine.detectors.sample_bank`)
    word, check_first : what the screen says; what to check first, one short line
    """

    fault: Fault
    detector: type[Detector]
    amber_s: str | float
    red_s: str | float
    off_s: float
    word: str
    check_first: str
    family: str = ""
    rank: int = 0
    spoils: bool = False
    red_if_uncovered: bool = False
    in_standby: bool = False
    needs_samples: bool = False
    scope: Scope = Scope.TRACK

    @property
    def group(self) -> str:
        """The family, or the fault's own name where it is alone."""
        return self.family or self.fault.value


LOSS: Final = "loss"
"""muted, dead_mic and silent: one loss, one incident."""

_CODE_FIRST: Final = "timecode: is the recorder running, then cable, level, frame rate, jam again"

DETECTORS: Final[tuple[Row, ...]] = (
    Row(
        Fault.MUTED,
        Muted,
        amber_s="muted_amber_s",
        red_s="muted_red_s",
        off_s=1.0,
        word="muted",
        check_first="no signal at all: pack switched off or out of range, receiver mute, patch",
        family=LOSS,
        rank=3,
        spoils=True,
        in_standby=True,
        needs_samples=True,
    ),
    Row(
        Fault.DEAD_MIC,
        DeadMic,
        amber_s="dead_mic_amber_s",
        red_s="dead_mic_red_s",
        off_s=1.0,
        word="dead mic",
        check_first="link is up, mic is dead: phantom power, mic plug",
        family=LOSS,
        rank=2,
        spoils=True,
    ),
    Row(
        Fault.SILENT,
        Silent,
        amber_s="silent_amber_s",
        red_s="silent_red_s",
        off_s=1.0,
        word="silent",
        check_first="nothing audible: mic plug, mute switch, gain, then listen to the track",
        family=LOSS,
        rank=1,
        spoils=True,
    ),
    Row(
        Fault.DROPOUT,
        Dropout,
        amber_s=0.0,
        red_s=0.0,
        off_s=TOGETHER_S,
        word="dropout",
        check_first="the radio link breaks up: antenna, distance, a body in between, battery",
        spoils=True,
        needs_samples=True,
    ),
    Row(
        Fault.NOISE_BURST,
        NoiseBurst,
        amber_s=0.0,
        red_s=0.0,
        off_s=TOGETHER_S,
        word="noise burst",
        check_first="hash on the link: interference or range, antenna, another frequency",
        spoils=True,
        needs_samples=True,
    ),
    Row(
        Fault.CLIPPED,
        Clipped,
        amber_s=0.0,
        red_s=0.0,
        off_s=3.0,
        word="clipping",
        check_first="overloaded: turn the pack's gain down, use the safety meanwhile",
        spoils=True,
        red_if_uncovered=True,
        needs_samples=True,
    ),
    Row(
        Fault.LOW,
        Low,
        amber_s="low_amber_s",
        red_s=NEVER,
        off_s=2.0,
        word="low",
        check_first="someone talks far too low: gain or sensitivity of the pack, mic covered",
    ),
    Row(
        Fault.HUM,
        Hum,
        amber_s="hum_amber_s",
        red_s="hum_red_s",
        off_s=2.0,
        word="hum",
        check_first="mains hum: cable screen, power supply or ground loop near this input",
    ),
    Row(
        Fault.DUPLICATE,
        Duplicate,
        amber_s="duplicate_amber_s",
        red_s="duplicate_red_s",
        off_s=2.0,
        word="duplicate",
        check_first="two inputs carry one signal: the patch, then the routing of both",
        needs_samples=True,
    ),
    Row(
        Fault.POLARITY,
        Polarity,
        amber_s=0.0,  # the detector itself counts seconds of speech
        red_s=NEVER,
        off_s=2.0,
        word="polarity",
        check_first="the packs are inverted against each other: cable, adapter, polarity switch",
    ),
    Row(
        Fault.PAIR_DRIFT,
        PairDrift,
        amber_s=0.0,  # as above
        red_s=NEVER,
        off_s=2.0,
        word="pair drift",
        check_first="one pack hears less than it did: mic slipped or covered, plug half out, gain",
    ),
    Row(
        Fault.UNEXPECTED,
        Unexpected,
        amber_s="unexpected_amber_s",
        red_s=NEVER,
        off_s=2.0,
        word="unexpected",
        check_first="a signal on an unused input: is something patched wrongly?",
    ),
    Row(
        Fault.TIMECODE,
        TimecodeLost,
        amber_s="timecode_amber_s",
        red_s="timecode_red_s",
        off_s=1.0,
        word="timecode",
        check_first=_CODE_FIRST,
    ),
    Row(
        Fault.TIMECODE,
        TimecodeWrong,
        amber_s=0.0,
        red_s=NEVER,
        off_s=2.0,
        word="timecode",
        check_first=_CODE_FIRST,
        family="timecode wrong",
    ),
    Row(
        Fault.TIMECODE,
        RecorderStopped,
        amber_s=0.0,
        red_s=NEVER,
        off_s=1.0,
        word="timecode",
        check_first=_CODE_FIRST,
        family="recorder stopped",
        in_standby=True,
    ),
    Row(
        Fault.INPUT_LOST,
        InputLost,
        amber_s=0.0,
        red_s=0.0,
        off_s=0.0,
        word="input lost",
        check_first="the interface delivers nothing: its cable, its power, then its clock",
        spoils=True,
        in_standby=True,
        scope=Scope.INPUT,
    ),
    Row(
        Fault.SAMPLES_LOST,
        SamplesLost,
        amber_s=0.0,
        red_s=0.0,
        off_s=2.0,
        word="samples lost",
        check_first="audio was lost before it was looked at: close other programs, larger buffer",
        in_standby=True,
        scope=Scope.INPUT,
    ),
    Row(
        Fault.SAMPLES_LOST,
        InvalidSamples,
        amber_s=0.0,
        red_s=0.0,
        off_s=2.0,
        word="samples lost",
        check_first="the samples are no numbers: restart the interface, check its driver",
        spoils=True,
        in_standby=True,
    ),
)

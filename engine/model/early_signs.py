"""What is no alarm yet, but is not what it was: plain data and its words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

PERIOD_S: Final = 10.0
"""Each figure is of so long."""
CURVE_PERIODS: Final = 120
"""The last 20 minutes."""
MOST_SHOWN: Final = 3


class SignKind(StrEnum):
    """What changes."""

    GAPS = "gaps"
    BURSTS = "bursts"
    POPS = "pops"
    NOISE_FLOOR = "noise floor"
    HUM = "hum"
    HEADROOM = "headroom"
    PAIR_LEVEL = "pair level"
    PAIR_TREBLE = "pair treble"
    BATTERY = "battery"
    BATTERY_QUICK = "battery quick"


@dataclass(frozen=True, slots=True)
class SignWords:
    """Of one kind: what happens, the unit of its figures, and what to do at the next pause."""

    what: str
    unit: str
    advice: str


SIGN_WORDS: Final[Mapping[SignKind, SignWords]] = {
    SignKind.GAPS: SignWords(
        "short gaps come more often", "a minute", "receiver antenna, distance, battery"
    ),
    SignKind.BURSTS: SignWords(
        "short RF bursts come more often", "a minute", "antenna, frequency, distance"
    ),
    SignKind.POPS: SignWords("pops have begun", "a minute", "cable and plug at the pack"),
    SignKind.NOISE_FLOOR: SignWords("noise floor creeps up", "dB", "RF level, transmitter gain"),
    SignKind.HUM: SignWords("hum creeps up", "dB", "plug, cable screen, power supply"),
    SignKind.HEADROOM: SignWords("headroom shrinks", "dB", "transmitter gain"),
    SignKind.PAIR_LEVEL: SignWords(
        "main and safety drift apart", "dB", "mic position: slipped, turned"
    ),
    SignKind.PAIR_TREBLE: SignWords(
        "treble changes against the other pack", "dB", "cloth over the mic, sweat"
    ),
    SignKind.BATTERY: SignWords(
        "battery will not last to the planned end", "min", "change it, then log the change"
    ),
    SignKind.BATTERY_QUICK: SignWords(
        "its last battery went quicker than the others", "min", "contacts, cells, range of the pack"
    ),
}


@dataclass(frozen=True, slots=True)
class EarlySign:
    """One sign as it stands.

    tracks : input numbers that show it; several where they share a receiver
    receiver : named where several of its tracks show it
    since_s : stream time from which it runs
    normal, now : the track's own normal and what it is now, in the unit of its kind
    curve : figures of the last 20 minutes, oldest first, one each 10 s; None where unknown
    """

    id: int
    kind: SignKind
    tracks: tuple[int, ...]
    since_s: float
    normal: float
    now: float
    curve: tuple[float | None, ...] = ()
    receiver: str = ""

    @property
    def change(self) -> float:
        """How far it went from normal."""
        return self.now - self.normal


@dataclass(frozen=True, slots=True)
class SignEvent:
    """A sign began (`began`), or is over."""

    sign: EarlySign
    at_s: float
    began: bool

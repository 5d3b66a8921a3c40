"""FaultRule: how one fault is delayed, shown and answered. `fault_remedies.FAULTS` has them all."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from typing import Final

from engine.model.messages import Fault

BURST_GAP_S: Final = 10.0
"""Gaps of a dropout, or bursts of noise, less than this apart are one incident, s."""


class Named(StrEnum):
    """Causes that a detail may name, where something else helps than with the fault."""

    PHONE = "bursts of a phone"


class Scope(Enum):
    """What one condition of a detector speaks of."""

    TRACK = auto()
    INPUT = auto()


@dataclass(frozen=True, slots=True)
class FaultRule:
    """How one fault is delayed, shown and answered.

    name : tells the rules of one fault apart (a timecode lost, wrong, stopped)
    amber_s, red_s : on-delay from the fault's own onset; the name of a limit, or seconds
    off_s : off-delay; the condition must be gone this long before the incident ends
    family, rank : of one family a track has one incident at a time, named by the highest rank
    spoils : the audio is unusable, so the pack covers nobody
    red_if_uncovered : red only while no healthy cover exists
    in_standby : stays an alarm while the crew is not rolling
    word, check_first : what the screen says; what to check first, one short line
    if_named : what to check first instead, where the detail names that cause
    """

    name: str
    fault: Fault
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
    scope: Scope = Scope.TRACK
    if_named: tuple[tuple[Named, str], ...] = ()

    @property
    def group(self) -> str:
        """The family, or the fault's own name where it is alone."""
        return self.family or self.fault.value


LOSS: Final = "loss"
"""muted, dead_mic and silent: one loss, one incident."""

GAPS: Final = "gaps"
"""dropout and crackle: both tear holes into the sound, one incident."""

LINK_NOISE: Final = "link noise"
"""noise_burst and noise: bursts that became one, one incident."""

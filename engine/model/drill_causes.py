"""What may be behind a fault in a drill: the short list from which the mixer picks."""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from engine.model.fault_remedies import word
from engine.model.messages import Fault


class Cause(StrEnum):
    """In the order of the list; a fault's own word where it is one track's fault."""

    MUTED = "muted"
    DEAD_MIC = "dead_mic"
    SILENT = "silent"
    DROPOUT = "dropout"
    NOISE_BURST = "noise_burst"
    CLIPPED = "clipped"
    HUM = "hum"
    RECEIVER = "receiver"
    NOTHING = "nothing"
    POLARITY = "polarity"
    PAIR_DRIFT = "pair_drift"
    DUPLICATE = "duplicate"
    UNEXPECTED = "unexpected"
    TIMECODE = "timecode"
    STUCK = "stuck"
    CRACKLE = "crackle"
    NOISE = "noise"
    TONE = "tone"
    DC = "dc"
    SWAPPED = "swapped"
    CLOCK = "clock"
    FADING = "fading"
    CREEPING = "creeping"

    @property
    def slow(self) -> bool:
        """It takes minutes, and early signs may tell it before its alarm; the crew names the fault
        in which it ends."""
        return self in _ENDS_IN

    @property
    def fault(self) -> Fault | None:
        """The fault that its tracks show; None where nothing is wrong."""
        if self is Cause.NOTHING:
            return None
        if self.slow:
            return _ENDS_IN[self]
        return Fault.MUTED if self is Cause.RECEIVER else Fault(self.value)

    @property
    def word(self) -> str:
        """What it is called on screen and paper: as the board calls it."""
        return _WORDS[self] if self in _WORDS else word(Fault(self.value))


_WORDS: Final = {
    Cause.RECEIVER: "receiver gone",
    Cause.NOTHING: "nothing wrong",
    Cause.FADING: "link that fades",
    Cause.CREEPING: "noise that creeps up",
}
_ENDS_IN: Final = {Cause.FADING: Fault.DROPOUT, Cause.CREEPING: Fault.NOISE}
CALLED: Final = tuple(cause for cause in Cause if not cause.slow)
"""What the mixer may name."""

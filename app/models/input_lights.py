"""Which channels of an input carry something: one light each, and a count. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

HEARD_DBFS: Final = -75.0
"""Peaks over this are a place or a signal: where presence begins before a floor was learned
(CONTRACT.md); an unused preamplifier hisses below it."""
LOUD_DBFS: Final = -45.0
"""Peaks over this are somebody who speaks, or a tap. Ours."""
FALL_DB_S: Final = 30.0
"""How fast a light goes out after a sound: slowly enough for a tap to be seen. Ours."""


class Light(IntEnum):
    """How bright one channel's light is."""

    DARK = 0
    DIM = 1
    BRIGHT = 2


@dataclass(frozen=True, slots=True)
class Lights:
    """What is shown of one input.

    held_dbfs : highest peak of each channel, falling since
    carried : which channels carried something at any time
    problem : why nothing can be shown, empty where it can
    """

    held_dbfs: tuple[float, ...] = ()
    carried: tuple[bool, ...] = ()
    problem: str = ""

    def after(self, peaks_dbfs: Sequence[float], seconds: float) -> Lights:
        """The same after so many seconds in which each channel had that peak, dBFS."""
        before = self.held_dbfs or (float("-inf"),) * len(peaks_dbfs)
        carried = self.carried or (False,) * len(peaks_dbfs)
        held = tuple(
            max(peak, held - FALL_DB_S * seconds)
            for peak, held in zip(peaks_dbfs, before, strict=True)
        )
        ever = tuple(c or p >= HEARD_DBFS for c, p in zip(carried, peaks_dbfs, strict=True))
        return Lights(held, ever)

    @property
    def lights(self) -> tuple[Light, ...]:
        """One for each channel; one that carries something never goes dark for a pause in it."""
        return tuple(
            Light.BRIGHT if held >= LOUD_DBFS else Light.DIM if carried else Light.DARK
            for held, carried in zip(self.held_dbfs, self.carried, strict=True)
        )

    @property
    def words(self) -> str:
        """'12 of 32 carry a signal', or what is wrong."""
        if self.problem:
            return self.problem
        if not self.carried:
            return "listening…"
        count, total = sum(self.carried), len(self.carried)
        return f"{count} of {total} carry a signal" if count else "nothing arrives"

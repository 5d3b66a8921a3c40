"""Which tops of a track prove an overload: so many or so long at one ceiling, loud enough to hear.

Short flat tops may be peaks that touched the ceiling: what was cut off is reckoned from their
flanks (`cut_tops`), and proves nothing while it lies 40 dB under the sound of 100 ms (distortion of
1 %, which speech hides: common practice, no source). Cut tops must be met by no more round ones as
high, and be long, as those of a voice are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from engine.detectors.cut_tops import CROSSED
from engine.detectors.tops import SAME_CEILING, SAME_CUT, Top

HEARD: Final = 1e-4
"""Least energy of what was cut off, against that of the sound."""
ROUND_AT: Final = 0.985
"""A round top this near to the ceiling, or higher, speaks against it."""
HELD: Final = 12
"""Cut tops that prove an overload hold the wave for so many samples in all, the first two of each
left out: what looks cut by chance is short, each sample more as unlikely as the one before (of
three in voices with breath 5 and 8, of those that an overload cut 13 and more in 98 %; ours)."""
BY_CHANCE: Final = 0.25
"""And so many more for each round top beside them: of many tops that hold no ceiling some look cut
as well, a tenth of a sample each (ours, measured on voices with breath)."""


@dataclass(frozen=True, slots=True)
class OverloadProof:
    """What CONTRACT.md asks of tops.

    enough : tops at one ceiling
    near_s : how near level ones, and long cut ones, lie to each other, s
    long_run : samples; one level run this long is enough, of cut ones it takes two
    lag : samples of the track for one at 48 kHz
    """

    enough: int
    near_s: float
    long_run: int
    lag: int

    def level(self, top: Top, before: Sequence[Top], energy: float) -> list[Top]:
        """The level runs up to this one that prove an overload, if they do; `energy` is that of
        as much sound as `near_s`, a sum of squares over samples."""
        if not top.level:
            return []
        near: list[Top] = []
        for one in reversed(before):  # they lie in order of time
            if top.at_s - one.at_s > self.near_s:
                break
            if one.level and top.alike(one):
                near.append(one)
        near.reverse()
        enough = len(near) >= self.enough and _is_heard(near, energy)
        enough |= top.length >= self.long_run
        return near if enough else []

    def cut(self, top: Top, before: Sequence[Top], energy: float, reached: float) -> list[Top]:
        """The cut tops up to this one that prove an overload, if they do; `reached` is how high
        that side was lately."""
        ceiling = abs(top.ceiling)
        if reached > (1.0 + SAME_CUT) * ceiling:
            return []
        # As `Top.alike` has it, without a call for each.
        of_cut = SAME_CUT * ceiling
        of_level = SAME_CEILING * ceiling if top.level else of_cut
        alike = [
            one
            for one in before
            if abs(ceiling - abs(one.ceiling)) <= (of_level if one.level else of_cut)
        ]
        flat = [one for one in alike if one.cut]
        long = [
            one
            for one in flat
            if one.length >= self.lag * self.long_run
            and top.at_s - one.at_s <= self.near_s
            and abs(abs(one.ceiling) - ceiling) <= SAME_CEILING * ceiling
        ]
        if len(long) >= 2 and _crosses(long):
            return long
        held = sum(one.length - 2 * self.lag for one in flat)
        by_chance = BY_CHANCE * (len(alike) - len(flat))
        if len(flat) < self.enough or held < self.lag * (HELD + by_chance) or not _crosses(flat):
            return []
        if not _is_heard(flat, energy):
            return []
        as_high = sum(not one.cut and abs(one.ceiling) >= ROUND_AT * ceiling for one in alike)
        return flat if len(flat) >= as_high else []


def _is_heard(tops: Sequence[Top], energy: float) -> bool:
    """Whether what was cut off them is loud enough beside the sound that they were cut from."""
    return sum(top.lost for top in tops) >= HEARD * energy


def _crosses(tops: Sequence[Top]) -> bool:
    """Whether a ceiling was met on samples and between them, not drawn by a voice."""
    return sum(top.sharpness for top in tops) >= CROSSED * len(tops)

"""Whether lines at multiples of the mains came through the air: an engine, a transformer.

Model: an engine has lines between those of the mains as well (`mains_lines`), though they come and
go as its speed sways. What is heard is on both packs of a performer, by their gains (`pack_gains`);
and so it is in the place, on every track whose lines lie there too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.mains_lines import Steps, is_engine, line_steps, middle_of
from engine.detectors.pack_gains import PackGains
from engine.model.messages import Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

Sound = NDArray[np.float32]

LATELY_LOOKS: Final = 20
"""Ten seconds: what showed an engine twice in them is one still, and so is what was in the air; """
LOUDER_DB: Final = 3.0
"""unless as much as the engine came on top."""
SWAYS: Final = 0.01
"""An engine keeps its speed within this of what it is set to (governors of generator sets: common
practice); at two moments it may differ by twice as much."""
STEADY: Final = 0.75
NEAR: Final = 0.6
"""Share of the steps of a line on the other pack that lie this near to their median."""


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Multiples of the mains on one track, and the sound they are in.

    power : amplitude squared of each, shape (lines,), 0 for those that are not steady
    level_dbfs : AES17 RMS of all
    steps : the strongest, its complex amplitude in steps
    """

    sound: Sound
    mains_hz: float
    power: Levels
    level_dbfs: float
    steps: Steps

    @property
    def strongest(self) -> int:
        """Which multiple the strongest is, 1 or more."""
        return int(np.argmax(self.power)) + 1


class HumOrigin(TrackMemory):
    """Remembers which tracks heard an engine, and what was in the air."""

    _look: int = remembered(By.WHOLE, 0)
    _engine_looks: NDArray[np.int64] = per_track(-LATELY_LOOKS, rows=4)
    """The last four that showed an engine."""
    _engine_dbfs: Levels = per_track(-np.inf)
    _gains: PackGains = remembered(By.PART, lambda d: PackGains(d._scene))
    _air_hz: float = remembered(By.ANEW, np.nan)
    _air_look: int = remembered(By.ANEW, -LATELY_LOOKS)
    """Mains frequency of what was in the air last, and in which look."""

    def __init__(self, scene: Scene, rate_hz: float) -> None:
        """Start with nothing heard; `rate_hz` is that of the sound to be looked at."""
        self._scene, self._rate_hz = scene, rate_hz
        self._tracks = len(scene.tracks)
        self.reset()

    def begin_look(self, m: Measurement) -> None:
        """A new look is taken at the end of that tick."""
        self._look += 1
        self._gains.learn(m)

    def mate(self, track_index: int) -> int | None:
        """Index of the track of the other pack of that one's wearer."""
        return self._gains.mates.get(track_index)

    def is_engine(self, track_index: int, lines: Lines, *, told: bool) -> bool:
        """Whether the lines are an engine's, or no louder than those that were lately.

        Words over a hum may look like an engine now and then: one that is `told` is doubted by no
        less than four looks of five seconds.
        """
        looks = self._engine_looks[:, track_index]
        shown = is_engine(lines.sound, self._rate_hz, lines.mains_hz, lines.power)
        if shown:
            looks[:] = *looks[1:], self._look
            self._engine_dbfs[track_index] = lines.level_dbfs
        first, within = (looks[0], LATELY_LOOKS // 2) if told else (looks[-2], LATELY_LOOKS)
        louder = lines.level_dbfs >= self._engine_dbfs[track_index] + LOUDER_DB
        return shown or bool(self._look - first < within and not louder)

    def is_sound(self, track_index: int, lines: Lines, of_mate: Sound | None) -> bool:
        """Whether both packs of somebody hear them by their gains, here or elsewhere lately;
        `of_mate` is the sound of the other pack."""
        if of_mate is not None and self._by_gains(track_index, lines, of_mate):
            self._air_hz, self._air_look = lines.mains_hz, self._look
        lately = self._look - self._air_look < LATELY_LOOKS
        return lately and abs(lines.mains_hz / self._air_hz - 1.0) < 2.0 * SWAYS

    def _by_gains(self, track_index: int, lines: Lines, of_mate: Sound) -> bool:
        """Whether the strongest line is steady on the other pack too, and differs as a voice."""
        line = np.array([lines.strongest])
        steps = line_steps(of_mate, self._rate_hz, lines.mains_hz, line)
        middle = middle_of(steps)
        size = np.abs(middle)
        if (np.abs(steps - middle) < NEAR * size).mean() < STEADY:
            return False
        own = np.abs(middle_of(lines.steps[:, np.newaxis]))
        louder_db = 20.0 * np.log10(own / np.maximum(size, 1e-12))
        return self._gains.is_sound(track_index, float(louder_db[0]))

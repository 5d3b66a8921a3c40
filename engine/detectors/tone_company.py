"""What a line that stands is, if it is no howl: told by what stands, comes or falls beside it, and
by how true it keeps its own beat.

Model: a howl is one line, with odd multiples where a loudspeaker is at its limits, for those are
alike on both sides. A chord, a bell and hum have other lines that stand; music and a peal others
that come and go; a note has an octave; a stroke falls; a beeper pauses. An engine has a line at
each multiple of the turns of its shaft, too near to each other for a look of a tenth of a second:
in half a second they stand apart, and move together with its speed. The whine of a machine lies in
the noise that it makes, so that no moment is nearly as quiet as the line. A loop that stands still
holds its phase; a voice that holds a note wanders by some cents within a second (J. Sundberg, The
Science of the Singing Voice, 1987; from memory), and its phase with it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Levels, Samples
from engine.model.percentiles import median

LOOKS: Final = 8
"""The newest, half a second apart, by which a line is judged."""
KEPT: Final = 2 * LOOKS
"""Looks that are remembered, so that a howl is dated from where it began to grow."""
CLOSE_LOOKS: Final = 4
"""The newest at half a second each."""
SWING_LOOKS: Final = 2
"""The newest of them by which it is seen whether a line swings."""
PHASE_LOOKS: Final = 6
"""Those by which it is seen whether it wanders: 3 s."""
WANDERS: Final = 0.01
"""What the mean resultant length of the phases lacks to 1 where they wander by a seventh of a
radian (K. V. Mardia and P. E. Jupp, Directional Statistics, 2000; from memory). Of notes of 180 to
500 Hz that wander by 4 cents nine in ten lack more in 3 s, of howls under words one in twenty 0.003
(ours, measured)."""
BY_NOISE: Final = 4.0
"""Noise and words move phase and amplitude alike, so their variances differ by no more than this:
the F-test at 1 in 1000 with 29 and 29 degrees of freedom asks for 3.3, with 9 and 9 for 10."""
MOVES: Final = 0.01
"""Relative. A governor holds the speed of an engine to this from one half second to the next (ISO
8528-5 lets it vary by 1 to 2.5 % at a steady load; from memory)."""
_EVEN: Final = np.array([2.0, 4.0, 6.0])


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """Lines of one stretch, the how manieth tick it ends with and when it began: frequency and
    level of each."""

    tick: int
    start_s: float
    hz: Levels
    level_dbfs: Levels


@dataclass(slots=True)
class Looks:
    """The newest looks at one track: `short` at a tick each, `close` at half a second; `sound` is
    that of the newest close ones, a row a tick, and `ends` the how manieth tick each ends with."""

    short: deque[Look] = field(default_factory=lambda: deque(maxlen=KEPT))
    close: deque[Look] = field(default_factory=lambda: deque(maxlen=CLOSE_LOOKS))
    sound: deque[Samples] = field(default_factory=lambda: deque(maxlen=PHASE_LOOKS))
    ends: deque[int] = field(default_factory=lambda: deque(maxlen=PHASE_LOOKS))

    def hear(self, sound: Samples, tick: int) -> None:
        """Keep the sound of a close look that ends with that tick."""
        self.sound.append(sound)
        self.ends.append(tick)

    def clear(self) -> None:
        """Forget all."""
        self.short.clear()
        self.close.clear()
        self.sound.clear()
        self.ends.clear()


@dataclass(frozen=True, slots=True)
class Company:
    """What speaks against a howl.

    same : relative; two looks found one line within this
    steady_db : dB; a line keeps its level within this
    alone_db : dB. Other lines that stand with it, but for its multiples, are fainter by this: else
        it is a chord, an engine, or hum
    octave_db : dB. Its even multiples are fainter by this: else it is a note. Loudspeakers at their
        limits make second harmonics of up to a tenth (common practice, no source)
    company_db : dB. Other lines that come and go are fainter by this in half of the looks
    decay_db : dB. A line that falls by more than this from look to look, in the median, rings away:
        a minute and a half for 60 dB and more is a bell of tons (ours)
    drowned_db : dB. Where the quietest moment since it stands is louder than the line by this, the
        line is a part of that noise, and makes nothing worse (ours)
    """

    same: float = 0.003
    steady_db: float = 2.0
    alone_db: float = 15.0
    octave_db: float = 20.0
    company_db: float = 10.0
    decay_db: float = 0.2
    drowned_db: float = 6.0

    def is_howl(
        self, looks: Looks, hz: float, turns: float, level_dbfs: float, quiet_dbfs: Levels
    ) -> bool:
        """Whether nothing speaks against a howl at that frequency, which is so many cycles a
        sample.

        `quiet_dbfs` is the quietest hop of each tick since the line stands, shape (ticks,).
        """
        return not (
            self._is_note(looks.short, hz)
            or self._is_note(looks.close, hz)
            or self._has_company(looks.short, hz)
            or self._decays(looks.short, hz)
            or quiet_dbfs.min() > level_dbfs + self.drowned_db
            or self._is_interrupted(quiet_dbfs, level_dbfs)
            or self._swings(looks.sound, turns)
            or self._is_engine(looks.close, hz)
        )

    def stands_beside(self, hz: Levels, level_dbfs: Levels, best: int) -> Flags:
        """Which of some lines are as good as the best one's equals, and no multiples of it."""
        loud = level_dbfs > level_dbfs[best] - self.alone_db
        return np.asarray(self._is_strange(hz / hz[best]) & loud)

    def _is_strange(self, ratio: Levels) -> Flags:
        """Where a ratio to the line's frequency is no whole number."""
        whole = np.maximum(np.round(ratio), 1.0)
        return np.asarray(np.abs(ratio / whole - 1.0) > 2.0 * self.same)

    def _is_note(self, looks: deque[Look], hz: float) -> bool:
        """In half of the newest looks that show the line, one of its even multiples is there."""
        shown, with_even = 0, np.zeros(len(_EVEN), dtype=np.int64)
        for look in list(looks)[-LOOKS:]:
            ratio = look.hz / hz
            line_dbfs = look.level_dbfs[np.abs(ratio - 1.0) <= self.same]
            if len(line_dbfs):
                loud = look.level_dbfs > line_dbfs.max() - self.octave_db
                near = np.abs(ratio / _EVEN[:, None] - 1.0) <= 2.0 * self.same
                shown += 1
                with_even += (near & loud).any(axis=1)
        return bool(2 * with_even.max() >= shown)

    def _has_company(self, looks: deque[Look], hz: float) -> bool:
        """In most looks one or another line that is no multiple of it: music, or several bells.
        Somebody who talks over a howl pauses, or is fainter."""
        count = 0
        for look in list(looks)[-LOOKS:]:
            ratio = look.hz / hz
            line_dbfs = look.level_dbfs[np.abs(ratio - 1.0) <= 2.0 * self.same]
            if len(line_dbfs):
                loud = look.level_dbfs > line_dbfs.max() - self.company_db
                count += any_of(self._is_strange(ratio) & loud)
        return 2 * count > LOOKS

    def _decays(self, looks: deque[Look], hz: float) -> bool:
        """From look to look the line mostly falls, however often it is struck anew."""
        newest = [
            look.level_dbfs[np.abs(look.hz / hz - 1.0) <= self.same].max(initial=-np.inf)
            for look in list(looks)[-LOOKS:]
        ]
        steps = [b - a for a, b in pairwise(newest) if np.isfinite(a) and np.isfinite(b)]
        return bool(steps) and float(median(np.array(steps))) < -self.decay_db

    def _is_interrupted(self, quiet_dbfs: Levels, level_dbfs: float) -> bool:
        """In a quarter of the ticks some hop is fainter than the line: a beeper, that sounds at
        each look, and whose pauses the room fills in part."""
        under = quiet_dbfs < level_dbfs - 2.0 * self.steady_db
        return bool(4 * np.count_nonzero(under) > len(quiet_dbfs))

    def wanders(self, looks: Looks, turns: float) -> bool:
        """Whether the phase of the line strays from any straight way by more than noise that moves
        its size as far explains: a voice."""
        amplitude = _amplitudes(looks.sound, turns)
        size = np.abs(amplitude) + 1e-12
        count = len(looks.sound[0])
        at = np.concatenate([np.arange(end - count, end) for end in looks.ends])
        at -= looks.ends[-1] - LOOKS * count
        lately = at >= 0
        phase = np.zeros(16 * LOOKS * count, dtype=np.complex128)
        phase[at[lately]] = (amplitude / size)[lately]
        number = np.count_nonzero(lately)
        lacks = 1.0 - float(np.abs(np.fft.fft(phase)).max()) / number
        noise = 0.5 * float(np.square(size / median(size) - 1.0)[lately].mean())
        return bool(lacks > max(WANDERS, BY_NOISE * noise))

    def _swings(self, sound: deque[Samples], turns: float) -> bool:
        """In a fifth of the ticks the line itself is fainter: a beeper whose beat the looks keep,
        and whose pauses other sound fills. One tick of words may cover it."""
        if len(sound) < SWING_LOOKS:
            return False
        newest = [sound[n] for n in range(-SWING_LOOKS, 0)]
        level_db = 20.0 * np.log10(np.abs(_amplitudes(newest, turns)) + 1e-12)
        faint = np.count_nonzero(level_db < median(level_db) - 2.0 * self.steady_db)
        return bool(faint >= SWING_LOOKS)

    def _is_engine(self, looks: deque[Look], hz: float) -> bool:
        """In half of the close looks two other lines or more stand where they did in the one
        before, or next to it; what is said does not."""
        pairs, with_others = 0, 0
        for before, now in pairwise(looks):
            here_dbfs = now.level_dbfs[np.abs(now.hz / hz - 1.0) <= MOVES].max(initial=-np.inf)
            others = self._is_strange(now.hz / hz) & (now.level_dbfs > here_dbfs - self.alone_db)
            off = np.abs(before.hz / now.hz[others, None] - 1.0) <= MOVES
            off &= np.abs(before.level_dbfs - now.level_dbfs[others, None]) <= 2.0 * self.steady_db
            pairs += 1
            with_others += int(np.count_nonzero(off.any(axis=1)) > 1)
        return pairs > 0 and 2 * with_others >= pairs


def _amplitudes(sound: Iterable[Samples], turns: float) -> NDArray[np.complex128]:
    """The complex amplitude of a line in each tick of some sound, a row a tick."""
    ticks = np.concatenate(list(sound))
    frames = np.arange(ticks.shape[1])
    wave = np.hanning(len(frames)) * np.exp(-2j * np.pi * turns * frames)
    return np.asarray(ticks @ wave)

"""Hum: the mains at 50 or 60 Hz with its harmonics, steady through speech and pauses.

Model: lines at whole multiples of one frequency, within 1 % of 50 or 60 Hz on a grid and within
2 % off it (EN 50160: 1 % for 99.5 % of a year; 2 % for 95 % of a week where not connected), that
hold amplitude and phase for seconds: a ground loop brings the even, a coil near a transformer the
odd ones (common practice, no source). A voice between 85 and 255 Hz wanders and pauses, and no note
of equal temperament on A = 440 Hz lies within 1.2 % of a low mains line (G1 and G2 lie 2.0 % under
50 and 100 Hz). Twice a second the bins of the newest 1.5 s are held against those beside them
(`mains_spectra`: of noise one in a thousand stands out so far), and where two of five such looks
agree, the multiples are followed through the last 2.6 s by their phase. A line is there where three
in four of the steps of 0.2 s lie near their median, as of noise twelve steps do once in a million
times (binomial, with 0.35 squared for each). An engine has lines as high between those of the
mains, and a string that is plucked falls (`mains_lines`).

The level is the AES17 RMS of the lines added together, unweighted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.hum_origin import HumOrigin, Lines
from engine.detectors.mains_lines import (
    LINES,
    STEP_S,
    line_steps,
    middle_of,
    rings,
    steps_since,
    tuned_lines,
)
from engine.detectors.mains_spectra import GRID, MAINS_HZ, WINDOW_S, MainsSpectra, is_mains
from engine.measure.decimate import Decimate
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement
from engine.model.number_text import number
from engine.model.percentiles import percentiles
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import rms_dbfs

FOLLOWED_S: Final = 2.6
"""How long the multiples of the mains are followed, s."""

_KEPT_S: Final = 6.0
_COHERENT: Final = 0.75
"""Share of the followed time in which a line is steady; one alone is all the time."""
_EVERY: Final = 5
"""Ticks from one look to the next."""
HINTS: Final = 5
"""The newest spectra, 2.5 s in all, of which two must suggest the same frequency: words come
between."""


@dataclass(frozen=True, slots=True, eq=False)
class AcceptedHum:
    """AES17 RMS of the hum that is normal on each track, dBFS, shape (tracks,); -inf: none."""

    normal_dbfs: Levels


@dataclass(frozen=True, slots=True)
class _Seen:
    """Hum of one track: mains frequency, AES17 RMS of its lines, and the strongest line.

    So many `looks` it must be seen: once with the fundamental, which lies under all voices, and
    another line; twice in a row where that is alone, or where others stand for it; another line
    alone may be a note and must outlast it.
    """

    mains_hz: float
    level_dbfs: float
    line: int
    looks: int


class Hum(TrackMemory):
    """Follows mains lines; looks twice a second."""

    NEEDS_SAMPLES: ClassVar = False

    _normal_dbfs: Levels = per_track(-np.inf, lasting=True)
    _sound: NDArray[np.float32] = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, 2 * d._kept), dtype=np.float32)
    )
    _end: int = remembered(By.WHOLE, lambda d: d._kept)
    _heard_s: Levels = per_track(0.0)
    _held: list[NDArray[np.float32]] = remembered(By.EACH, lambda _: [])
    _passes: NDArray[np.int64] = per_track(0)
    _hint_hz: Levels = per_track(np.nan, rows=HINTS)
    _looks: int = remembered(By.WHOLE, 0)
    _origin: HumOrigin = remembered(By.PART, lambda d: HumOrigin(d._scene, d._slow.rate_hz))
    _seen: list[_Seen | None] = each_track(lambda: None)
    _active: Flags = per_track(False)
    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(-np.inf)
    _level_dbfs: Levels = per_track(-np.inf)

    def __init__(
        self,
        scene: Scene,
        *,
        faintest_dbfs: float = -68.0,
        rise_db: float = 6.0,
        hold_s: float = 3.0,
        near: float = 0.35,
        loose: float = 0.6,
        quiet_db: float = 6.0,
        note_looks: int = 6,
        agree: float = 0.0025,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        faintest_dbfs : float
            dBFS. Fainter lines spoil no track.
        rise_db : float
            dB. Accepted hum is normal until it rises by this much (CONTRACT.md).
        hold_s : float
            s. Speech may hide the lines that long before the hum counts as gone.
        near : float
            A steady line stays this near to its median, relative, to be believed.
        loose : float
            The same once it was.
        quiet_db : float
            dB. A pause lies this little over the hum, or over the quietest tenth of the last
            seconds, and hum must be seen in it: a voice may carry hum of its own, as one played
            from a recording does.
        note_looks : int
            Looks of half a second that the second line alone must outlast: few notes
            are held for 5 s.
        agree : float
            Two of the newest spectra must suggest the same frequency, relative.
        """
        self._faintest_dbfs = faintest_dbfs
        self._rise_db = rise_db
        self._hold_s = hold_s
        self._near = near
        self._loose = loose
        self._quiet_db = quiet_db
        self._note_looks = note_looks
        self._agree = agree
        self._scene = scene
        self._watched = scene.watched(Fault.HUM)
        self._red_dbfs = scene.numbers("hum_red_dbfs")
        self._tracks = len(scene.tracks)
        self._slow = Decimate(scene.sample_rate_hz)
        self._spectra = MainsSpectra(self._slow.rate_hz)
        self._kept = round(_KEPT_S * self._slow.rate_hz)
        self.reset()

    @property
    def learned(self) -> AcceptedHum:
        """What the crew accepted, for a later start."""
        return AcceptedHum(self._normal_dbfs.copy())

    def learn(self, learned: AcceptedHum) -> None:
        """Take over what an earlier watch of the same tracks accepted."""
        self._normal_dbfs = learned.normal_dbfs.copy()

    def accept(self, track_index: int) -> None:
        """The hum heard now on that track is normal until it rises by 6 dB."""
        if self._active[track_index]:
            self._normal_dbfs[track_index] = self._level_dbfs[track_index]
            self._active[track_index] = False

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while mains lines stand in the track."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        self._held.append(m.decimated)
        self._heard_s += m.end_s - m.start_s
        for repeat in m.repeats:  # a stuck buffer has lines of its own
            self._heard_s[repeat.track_index] = 0.0
        if len(self._held) == _EVERY:
            self._push(np.concatenate(self._held, axis=1))
            self._held = []
            track_indices = indices(self._watched & (self._heard_s >= WINDOW_S))
            self._origin.begin_look(m)
            if len(track_indices):
                self._look(track_indices, m.end_s)
        known = m.any_valid & self._watched
        if not any_of(self._active):
            return quiet(known)
        self._active &= m.end_s - self._last_s <= self._hold_s
        red = self._level_dbfs > self._red_dbfs
        return condition(self._active & known, known, self._onset_s, self._last_s, red)

    def _push(self, slow: NDArray[np.float32]) -> None:
        count = slow.shape[1]
        if self._end + count > self._sound.shape[1]:
            self._sound[:, : self._kept] = self._sound[:, self._end - self._kept : self._end]
            self._end = self._kept
        self._sound[:, self._end : self._end + count] = slow
        self._end += count

    def _newest(self, seconds: float) -> slice:
        return slice(self._end - round(seconds * self._slow.rate_hz), self._end)

    def _look(self, track_indices: NDArray[np.int64], now_s: float) -> None:
        hints = self._spectra.mains_hz(self._sound[track_indices, self._newest(WINDOW_S)])
        before_hz = self._hint_hz[:, track_indices]
        agree: Flags = np.asarray((np.abs(hints / before_hz - 1.0) < self._agree).any(axis=0))
        for n, track_index in enumerate(track_indices.tolist()):
            seen = self._seen[track_index]
            if seen is not None or agree[n]:
                hint_hz = float(hints[n]) if seen is None else seen.mains_hz
                self._take(track_index, self._follow(track_index, hint_hz), now_s)
        self._hint_hz[self._looks % HINTS, track_indices] = hints
        self._looks += 1

    def _take(self, track_index: int, seen: _Seen | None, now_s: float) -> None:
        if seen is None:
            self._passes[track_index] = 0
            if now_s - self._last_s[track_index] > self._hold_s:
                self._seen[track_index] = None
            return
        self._passes[track_index] += 1
        if not self._active[track_index] and self._passes[track_index] < seen.looks:
            return
        if not self._active[track_index]:
            self._onset_s[track_index] = now_s - self._since_s(track_index, seen)
        self._active[track_index] = True
        self._seen[track_index] = seen
        self._last_s[track_index] = now_s
        self._level_dbfs[track_index] = seen.level_dbfs

    def _least_dbfs(self, track_index: int) -> float:
        return max(self._faintest_dbfs, float(self._normal_dbfs[track_index]) + self._rise_db)

    def _follow(self, track_index: int, mains_hz: float) -> _Seen | None:
        """The lines that hold amplitude and phase over the followed time, if they make a hum that
        is loud enough to be told."""
        sound = self._sound[track_index, self._newest(FOLLOWED_S)]
        z, mains_hz = tuned_lines(sound, self._slow.rate_hz, mains_hz)
        middle = middle_of(z)
        size = np.abs(middle)
        known = self._seen[track_index] is not None
        near = np.abs(z - middle) < (self._loose if known else self._near) * size
        count = count_of(near, axis=0)
        steady = count >= _COHERENT * len(z)
        lines = (indices(steady) + 1).tolist()
        alone = len(lines) < 2
        if alone and not (known or steady[0] or count.max() == len(z)):
            return None
        off = min(abs(mains_hz / nominal_hz - 1.0) for nominal_hz in MAINS_HZ)
        if not is_mains(lines, off):
            return None
        amplitude = size / self._slow.gain(mains_hz * np.arange(1, LINES + 1))
        power = np.where(steady, amplitude**2, 0.0)
        strongest = int(np.argmax(power))
        level_dbfs = float(10.0 * np.log10(max(power.sum(), 1e-30)))
        # What is dear is asked last.
        if level_dbfs < self._least_dbfs(track_index) or not (
            known or self._holds_in_pauses(track_index, level_dbfs, near[:, steady])
        ):
            return None
        if off > GRID and rings(z[:, strongest]):
            return None
        heard = Lines(sound, mains_hz, power, level_dbfs, z[:, strongest])
        if self._origin.is_engine(track_index, heard, told=bool(self._active[track_index])):
            return None
        mate = self._origin.mate(track_index)
        of_mate = None if mate is None else self._sound[mate, self._newest(FOLLOWED_S)]
        if self._origin.is_sound(track_index, heard, of_mate):
            self._last_s[track_index] = -np.inf
            return None
        several = not alone
        looks = 1 if steady[0] and several else 2 if steady[0] or several else self._note_looks
        return _Seen(mains_hz, level_dbfs, strongest + 1, looks)

    def _holds_in_pauses(self, track_index: int, level_dbfs: float, near: Flags) -> bool:
        """Whether the lines were seen while nothing else was loud.

        `near` has shape (steps, lines). A pause is what lies little over the hum or over the
        quietest tenth of the last seconds.
        """
        sound = self._sound[
            track_index,
            self._newest(float(np.clip(self._heard_s[track_index], FOLLOWED_S, _KEPT_S))),
        ]
        step = round(STEP_S * self._slow.rate_hz)
        power = np.square(sound[len(sound) % step :].reshape(-1, step)).mean(axis=1)
        levels_dbfs = rms_dbfs((power[1:] + power[:-1]) / 2.0)
        followed_dbfs = levels_dbfs[-len(near) :]
        quietest_dbfs = max(level_dbfs, *percentiles(levels_dbfs, 10.0))
        pause = followed_dbfs < quietest_dbfs + self._quiet_db
        return any_of(pause) and bool(near[pause].mean() >= _COHERENT)

    def _since_s(self, track_index: int, seen: _Seen) -> float:
        """How long ago the strongest line began, s."""
        seconds = float(min(self._heard_s[track_index], _KEPT_S))
        sound = self._sound[track_index, self._newest(seconds)]
        line = np.array([seen.line])
        z = line_steps(sound, self._slow.rate_hz, seen.mains_hz, line)[:, 0]
        steps = steps_since(z, round(FOLLOWED_S / STEP_S / 2), self._loose)
        if steps is None:
            return FOLLOWED_S
        return seconds if steps == len(z) else (steps + 1) * STEP_S

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        seen = self._seen[track_index]
        if seen is None:
            return "mains hum"
        level = number(seen.level_dbfs, digits=0)
        return f"mains hum at {seen.mains_hz:.1f} Hz, {level} dBFS"

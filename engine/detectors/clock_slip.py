"""Clock: the interface and what feeds it do not run on one clock: frames are lost or doubled.

Model: two clocks that are not locked drift apart until a buffer runs over or empty; then frames are
dropped or played twice, on every input between the same two samples. Each track's sound goes
through the filter in which a slip stands out most (`slip_filters`); how rare what comes out is on
that track, by what comes out within 25 ms, is combined over the tracks by Brown's method
(`combined_chance`), so that false slips are as rare as `chance` says, whatever sounds. No sound
reaches all mics in the same sample; what does is electrical, and comes with one sign on all of
them, or begins and ends something. Numbers: common practice, no source.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet
from engine.detectors.combined_chance import (
    combined,
    is_unlikely,
    log_chances,
    several,
    tail_log_chances,
)
from engine.detectors.first_tracks import FilteredTick, FirstTracks
from engine.detectors.slip_filters import SIDE, TAPS, SlipFilters
from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import indices
from engine.model.messages import Condition, Flags, Kind, Measurement, Samples
from engine.model.percentiles import median
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene

FIRST_SHARE: Final = 0.5
"""Of the evidence that is needed (a logarithm) the first tracks have at least so much."""
MOST_TRACKS: Final = 16
"""A slip is on all inputs, and so many tell it surely."""
LEAST_TRACKS: Final = 5
"""Performers or mics; of fewer, chance and one receiver do the same (CONTRACT.md)."""
LEARNING_TRACKS: Final = 24
"""No more are learned, the first of the plan."""
FEWEST_TORN: Final = 3
SHARE_TORN: Final = 0.4
"""So many of the tracks must be torn by themselves: a receiver has fewer, and of a single frame not
all tracks tell."""
LOG_DOUBT: Final = math.log(0.05)
"""Whether they are, and which, is said with this chance of error."""
LEAST_VISIBLE: Final = 3.0
"""Tracks on which a slip makes less than so many times the power are not asked."""
BESIDE_S: Final = 0.025
"""Sound on each side of a suspicion that says what is usual there."""
SHORT: Final = 240
"""Frames on each side that give a first idea of it."""
SMEAR: Final = 1
"""Samples that a converter's filter may move a slip on one track against the others."""
EVERY: Final = 2 * SMEAR + 1
WINDOW_S: Final = 10.0
"""Slips this near belong together, s (CONTRACT.md)."""
GOES_ON_S: Final = 0.5 * WINDOW_S
"""Three in ten seconds lie this far apart on average at most."""
APART_S: Final = 0.01
"""Of two suspicions nearer than this, s, the stronger is looked at."""
MOST_SUSPECTS: Final = 3
"""In a tick: more is some other sound."""
SETTLE_S: Final = 3.0
"""An input that was opened or that broke off fills its buffers first, s."""


class Clock(TrackMemory):
    """Looks for slips that come on every input between the same two samples."""

    NEEDS_SAMPLES: ClassVar = True

    _slips_s: deque[float] = remembered(By.WHOLE, lambda _: deque())
    _onset_s: float = remembered(By.WHOLE, float("nan"))
    _settled_s: float | None = remembered(By.WHOLE, None)
    _filters: SlipFilters = remembered(By.ANEW, lambda d: SlipFilters(len(d._candidates)))
    _before: Samples | None = remembered(By.ANEW, None)
    _first_tracks: FirstTracks = remembered(
        By.ANEW, lambda d: FirstTracks(d._filters, d._candidates)
    )

    _newest_asked: tuple[bytes, NDArray[np.int64]] | None = remembered(By.ANEW, None)

    def __init__(
        self,
        scene: Scene,
        *,
        suspect: float = 1.8,
        chance: float = 2e-8,
        unlike_db: float = 6.0,
        slips: int = 3,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        suspect : float
            Mean of the first tracks' filtered samples, each over its own deviation, at which all
            are asked: it is 0.8 on Gaussian sound, with a deviation of 0.2.
        chance : float
            What all tracks do together must be less likely: at 48 kHz such a moment comes by chance
            once in 17 minutes, and three of them within ten seconds once in 260 days (Poisson).
        unlike_db : float
            dB. Where most tracks change by more between one side and the other, something began.
        slips : int
            So many within ten seconds are a fault (CONTRACT.md).
        """
        self._suspect, self._unlike_db, self._enough = suspect, unlike_db, slips
        self._log_chance = float(np.log(chance))
        self._rate_hz = scene.sample_rate_hz
        self._beside = round(BESIDE_S * self._rate_hz)
        self._candidates = _one_a_performer(scene)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Filter the first tracks of several of those ticks at once."""
        self._first_tracks.look_ahead(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active from the third slip within ten seconds on, and while they go on."""
        if measurement is None or feed.lost_frames or self._settled_s is None:
            self._settled_s, self._before = feed.now_s + SETTLE_S, None
        active = False
        last_s = self._slips_s[-1] if self._slips_s else np.nan
        if measurement is not None:
            for at_s in self._slips(measurement):
                self._count(at_s)
                last_s = at_s
            enough = len(self._slips_s) >= self._enough
            active = enough and measurement.end_s - last_s <= GOES_ON_S
        known = np.array([measurement is not None])
        if not active:
            return quiet(known)
        return condition(
            known,
            known,
            np.array([self._onset_s]),
            np.array([max(last_s, self._onset_s)]),
        )

    def _count(self, at_s: float) -> None:
        while self._slips_s and at_s - self._slips_s[0] > WINDOW_S:
            self._slips_s.popleft()
        if not self._slips_s:
            self._onset_s = at_s
        self._slips_s.append(at_s)

    def _slips(self, m: Measurement) -> list[float]:
        """When all tracks were torn at once in this tick, s."""
        before, self._before = self._before, m.samples.T
        if not m.all_valid:
            self._before = None
        if not m.all_valid or m.repeats:
            return []
        live = m.difference_energy.min(axis=0)[self._candidates] > 0.0
        slips: list[float] = []
        if before is not None and m.end_s >= (self._settled_s or 0.0):
            rows = self._asked(live)
            if len(rows) >= LEAST_TRACKS:
                sound = _Sound(before, m.samples.T, self._candidates[rows])
                slips = [
                    m.start_s + (at - sound.lead) / self._rate_hz
                    for at in self._suspects(sound, self._first_tracks.of(before, m, rows))
                    if self._is_slip(sound, rows, at)
                ]
        if self._filters.learn(m.samples.T, self._candidates, live):
            self._first_tracks.forget()
            self._newest_asked = None
        return slips

    def _asked(self, live: Flags) -> NDArray[np.int64]:
        """The tracks that are asked, those that show slips best first; the same array until one of
        them falls silent or the filters are others."""
        known = live.tobytes()
        if self._newest_asked is None or self._newest_asked[0] != known:
            visible = self._filters.visible
            rows = indices(live & (visible >= LEAST_VISIBLE))
            rows = rows[np.argsort(-visible[rows], kind="stable")[:MOST_TRACKS]]
            self._newest_asked = (known, rows)
        return self._newest_asked[1]

    def _suspects(self, sound: _Sound, made: FilteredTick) -> list[int]:
        """Frames of the sound at which the first tracks together stand out, the most first."""
        begin = sound.lead - TAPS
        sizes, mean = made.sizes, made.mean
        found = indices(mean >= self._suspect)
        if not len(found):
            return []
        near = APART_S * self._rate_hz
        suspects: list[int] = []
        for at in found[np.argsort(-mean[found], kind="stable")].tolist():
            if len(suspects) == MOST_SUSPECTS:
                break
            if all(abs(begin + at - other) > near for other in suspects):
                suspects.append(begin + at)
        few = FIRST_SHARE * self._log_chance
        return [at for at in suspects if _is_unlikely(sizes[:, _near(at - begin)], few)]

    def _filtered(
        self, sound: _Sound, rows: NDArray[np.int64], begin: int, end: int
    ) -> NDArray[np.float32]:
        """What comes out for slips just before each of those frames, shape (rows, end - begin)."""
        span = slice(begin - SIDE, end + SIDE - 1)
        out = np.empty((len(rows), end - begin), dtype=np.float32)
        x = sound.parts(len(rows), span)
        for n, taps in enumerate(self._filters.taps[rows]):
            out[n] = np.correlate(x[n], taps, "valid")
        return out

    def _is_slip(self, sound: _Sound, rows: NDArray[np.int64], at: int) -> bool:
        """Whether all tracks are torn there by more than chance, and each its own way."""
        near = slice(max(SIDE, at - SHORT), min(sound.frames - SIDE, at + SHORT))
        sizes = self._filtered(sound, rows, near.start, near.stop)
        deviation = np.sqrt(np.square(sizes).mean(axis=1, keepdims=True))
        closest = np.abs(sizes[:, _near(at - near.start)]) / deviation
        if not _is_unlikely(closest, self._log_chance):
            return False
        first = max(SIDE + SMEAR, at - self._beside)
        last = min(sound.frames - SIDE - SMEAR, at + self._beside)
        signed = self._filtered(sound, rows, first - SMEAR, last + SMEAR)
        sizes = np.abs(signed)
        at += self._middle(sizes, at - first + SMEAR)
        sizes = np.maximum.reduce(
            [sizes[:, n : sizes.shape[1] - EVERY + 1 + n] for n in range(EVERY)]
        )
        here = at - first
        others = np.delete(sizes, slice(here - 2 * TAPS, here + 2 * TAPS), axis=1)
        log_chance = tail_log_chances(sizes[:, here], others)
        if combined(log_chance, log_chances(others[:, ::EVERY])) > self._log_chance:
            return False
        torn = max(FEWEST_TORN, math.ceil(SHARE_TORN * len(rows)))
        if several(log_chance, torn) > LOG_DOUBT:
            return False
        steps = signed[log_chance < LOG_DOUBT, at - first + SMEAR]
        if len(steps) >= LEAST_TRACKS and np.abs(np.sign(steps).sum()) == len(steps):
            return False  # an electrical pulse: slips go up on one track and down on another
        x = sound.parts(len(rows), slice(first - SIDE, last + SIDE))
        return self._sounds_on(x, here + SIDE)

    @staticmethod
    def _middle(sizes: Samples, near: int) -> int:
        """How far from that frame all tracks together stand out most; the filter rings beside."""
        span = sizes[:, max(0, near - SIDE) : near + SIDE + 1]
        logs = np.log(span + np.float32(1e-30)).sum(axis=0)
        return int(logs.argmax()) - min(near, SIDE)

    def _sounds_on(self, x: Samples, at: int) -> bool:
        """Whether most tracks sound on both sides of that frame, and about as loud."""
        left, right = x[:, :at], x[:, at:]
        reach = min(left.shape[1], right.shape[1])
        powers = [np.square(side).mean(axis=1) for side in (left[:, -reach:], right[:, :reach])]
        change_db = 10.0 * np.abs(np.log10((powers[1] + 1e-20) / (powers[0] + 1e-20)))
        still: Flags = np.ptp(left[:, -SIDE:], axis=1) == 0.0
        still |= np.ptp(right[:, :SIDE], axis=1) == 0.0
        return bool(median(change_db) < self._unlike_db and still.mean() < 0.5)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        del track_index
        return f"all inputs jumped at one sample, {len(self._slips_s)} times in 10 s"


def _near(at: int) -> slice:
    """The frames at which a slip at that one may come out."""
    return slice(max(0, at - SMEAR), at + SMEAR + 1)


def _is_unlikely(closest: Samples, log_chance: float) -> bool:
    """Whether sizes over their deviations would be at most so likely, had the sound no long tails,
    shape (rows, frames near a slip); most of the work ends here."""
    largest = closest.max(axis=1)
    return is_unlikely(largest.astype(np.float64), log_chance)


class _Sound:
    """The end of one tick and all of the next, of some tracks.

    lead : frames of the earlier tick; frames : of both
    """

    def __init__(self, before: Samples, now: Samples, tracks: NDArray[np.int64]) -> None:
        self._before, self._now, self._tracks = before, now, tracks
        self.lead = before.shape[1]
        self.frames = self.lead + now.shape[1]

    def parts(self, rows: int, span: slice) -> NDArray[np.float32]:
        """Those frames of the first so many tracks, shape (rows, frames)."""
        tracks, lead = self._tracks[:rows], self.lead
        if span.start >= lead:
            return self._now[tracks, span.start - lead : span.stop - lead]
        early = self._before[tracks, span.start : span.stop]
        if span.stop <= lead:
            return early
        return np.concatenate([early, self._now[tracks, : span.stop - lead]], axis=1)


def _one_a_performer(scene: Scene) -> NDArray[np.int64]:
    """One track of each performer, and all that have none: two packs hear one voice."""
    known: set[str] = set()
    chosen: list[int] = []
    for track_index in indices(scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)).tolist():
        who = scene.tracks[track_index].who
        if not who or who not in known:
            chosen.append(track_index)
            known.add(who)
    return np.array(chosen[:LEARNING_TRACKS], dtype=np.int64)

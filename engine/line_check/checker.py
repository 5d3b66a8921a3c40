"""The line check: goes through the tracks one by one and says what came from each.

Measurements in, results out; time is passed in. Its state changes only while a check is open.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from engine.line_check.pair_offset import Pair
from engine.line_check.taps import Taps
from engine.model.line_results import ENOUGH_S, Heard, LineCheck, LineResult, Verdict
from engine.model.messages import Fault, Flags, Kind, Levels, Measurement, PackLevel
from engine.model.tracks import Scene
from engine.model.units import FLOOR_DB, SPEECH_DB, amplitude_db, rms_dbfs

LEAST_SPEECH_DBFS: Final = -60.0
LEAST_SAFETY_DBFS: Final = -72.0
"""Fainter sound is no speech into this very mic."""
FLOOR_TICKS: Final = 100
FLOOR_SHARE: Final = 20.0
LEAST_FLOOR_TICKS: Final = 10
"""Until the watch has learned a floor, it is the quietest fifth of the last 10 s. Before there is
a second of sound, noise can't be told from speech, and nothing counts as heard."""
PAUSE_DB: Final = 20.0
"""A floor this far under the speech was heard in a pause."""
ELSEWHERE_S: Final = 4.0
ELSEWHERE_TAPS: Final = 2
"""So many taps on one other input within that time, and none on the one asked for."""

Detail = Callable[[Fault, int], str]
"""What the detector of that fault saw on the track of that index."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a passed track teaches the watch; None where there is nothing to learn.

    pair_db : track index of the safety, gain offset of voice and treble, dB
    """

    track_index: int
    floor_dbfs: float | None
    hum: bool
    pair_db: tuple[int, float, float] | None


class LineChecker:
    """One watch's line check."""

    def __init__(self, scene: Scene, results: Sequence[LineResult] = ()) -> None:
        self._use(scene)
        self._results = {result.track: result for result in results}
        self._order: tuple[int, ...] = ()
        self._decided: set[int] = set()
        self._at = 0
        self._open = False
        self._powers: deque[Levels] = deque(maxlen=FLOOR_TICKS)
        self._begin()

    def _use(self, scene: Scene) -> None:
        self._scene = scene
        self._inputs = [track.input for track in scene.tracks]
        self._pairs = {track_index: pair for pair in scene.pairs() for track_index in pair}

    def change(self, scene: Scene) -> None:
        """Go on by another plan: the track asked for begins anew, one that is gone is left out."""
        before = self._inputs
        self._use(scene)
        if before != self._inputs:
            asked = self._order[: self._at]
            self._order = tuple(n for n in self._order if n in self._inputs)
            self._at = sum(n in self._inputs for n in asked)
            self._open = self._open and bool(self._order)
            self._taps = Taps(len(self._inputs))
            self._powers.clear()
        self._begin()

    # ---- what the crew asks ------------------------------------------------------------------

    def start(self, tracks: Sequence[int] = ()) -> None:
        """Ask for these inputs one by one; for all but the unused where none are named."""
        used = [t.input for t in self._scene.tracks if t.kind is not Kind.UNUSED]
        order = tuple(n for n in tracks if n in self._inputs) or tuple(used)
        self._order, self._at, self._open = order, 0, bool(order)
        self._decided = set()
        self._taps = Taps(len(self._inputs))
        self._powers.clear()
        self._begin()

    def go(self, track: int) -> None:
        """Ask for that input now."""
        if self._open and track in self._order:
            self._at = self._order.index(track)
            self._begin()

    def stop(self) -> None:
        """Close the check; its results stay."""
        self._open = False

    def mark(
        self, verdict: Verdict, note: str, at_s: float, timecode: str
    ) -> tuple[LineResult, Lesson | None] | None:
        """Decide on the track asked for and go on to the next of which nothing was said in this
        check, in any order that people came; None where none is asked for.

        Only a track that passed teaches anything.
        """
        track_index = self._asked
        if track_index is None:
            return None
        track = self._inputs[track_index]
        result = LineResult(track, verdict, at_s, timecode, self._heard, note.strip())
        lesson = self._lesson(track_index) if verdict is Verdict.PASSED else None
        self._results[track] = result
        self._decided.add(track)
        self._at = self._next()
        self._begin()
        return result, lesson

    def _next(self) -> int:
        """Place in the order of the next track that waits, after this one or before it."""
        places = [*range(self._at + 1, len(self._order)), *range(self._at)]
        return next((n for n in places if self._order[n] not in self._decided), len(self._order))

    def _lesson(self, track_index: int) -> Lesson:
        heard, pair, pair_db = self._heard, self._pair, None
        offset_db = None if pair is None else pair.offset_db
        if pair is not None and offset_db is not None and heard.speech_s >= ENOUGH_S:
            pair_db = (pair.safety, float(offset_db[0]), float(offset_db[1]))
        # A floor taken from somebody who never paused would make every later pause a fault.
        paused = (
            len(self._powers) >= FLOOR_TICKS // 2
            and heard.floor_dbfs is not None
            and heard.speech_dbfs is not None
            and heard.speech_dbfs >= heard.floor_dbfs + PAUSE_DB
        )
        return Lesson(track_index, heard.floor_dbfs if paused else None, bool(heard.hum), pair_db)

    # ---- the sound ---------------------------------------------------------------------------

    def _begin(self) -> None:
        """Nothing was heard yet of the track asked for."""
        self._heard = Heard()
        self._speech_power, self._speech_ticks = 0.0, 0
        self._others: deque[tuple[float, int]] = deque()
        track_index = self._asked
        self._pair: Pair | None = None
        if track_index is not None and track_index in self._pairs:
            self._pair = Pair(*self._pairs[track_index], self._scene.sample_rate_hz)

    @property
    def _asked(self) -> int | None:
        """Index of the track asked for."""
        if not self._open or self._at >= len(self._order):
            return None
        return self._inputs.index(self._order[self._at])

    def update(self, m: Measurement, active: Mapping[Fault, Flags], detail: Detail) -> None:
        """Take in one tick; `active` says where detectors see a fault now, shape (tracks,)."""
        if not self._open:
            return
        power = m.mean_square.mean(axis=0)
        if m.valid.all():
            self._powers.append(power)
        taps = self._taps.update(m)
        track_index = self._asked
        if track_index is None:
            return
        floor_dbfs = self._floor_dbfs(m, track_index)
        heard = replace(
            self._heard,
            taps=self._heard.taps + int(taps[track_index]),
            floor_dbfs=floor_dbfs,
            clipped=self._heard.clipped or _sees(active, Fault.CLIPPED, track_index),
            hum=detail(Fault.HUM, track_index)
            if _sees(active, Fault.HUM, track_index)
            else self._heard.hum,
        )
        if self._scene.tracks[track_index].kind is Kind.TIMECODE:
            reading = m.timecode.get(track_index)
            heard = replace(heard, code=heard.code or bool(reading and reading.frames))
        else:
            heard = self._with_speech(
                heard, m, track_index, float(rms_dbfs(power[track_index])), floor_dbfs
            )
        self._heard = replace(heard, elsewhere=self._elsewhere(taps, track_index, m.end_s))

    def _has_floor(self, m: Measurement, track_index: int) -> bool:
        """Learned, or enough sound to go by."""
        learned = bool(np.isfinite(m.floor_dbfs[track_index]))
        return learned or len(self._powers) >= LEAST_FLOOR_TICKS

    def _floor_dbfs(self, m: Measurement, track_index: int) -> float | None:
        learned = float(m.floor_dbfs[track_index])
        if np.isfinite(learned):
            return learned
        if not self._has_floor(m, track_index):
            return None
        powers = np.array([power[track_index] for power in self._powers])
        floor_dbfs = float(rms_dbfs(np.percentile(powers, FLOOR_SHARE)))
        return floor_dbfs if floor_dbfs > FLOOR_DB else None

    def _with_speech(
        self,
        heard: Heard,
        m: Measurement,
        track_index: int,
        level_dbfs: float,
        floor_dbfs: float | None,
    ) -> Heard:
        peak = float(np.maximum(m.peak_max[:, track_index], -m.peak_min[:, track_index]).max())
        peak_dbfs = float(amplitude_db(peak))
        before_dbfs = LEAST_SAFETY_DBFS if heard.peak_dbfs is None else heard.peak_dbfs
        if peak_dbfs > before_dbfs:
            heard = replace(heard, peak_dbfs=peak_dbfs)
        safety = self._scene.tracks[track_index].level is PackLevel.SAFETY
        least = LEAST_SAFETY_DBFS if safety else LEAST_SPEECH_DBFS
        if floor_dbfs is not None:
            least = max(least, floor_dbfs + SPEECH_DB)
        audible = level_dbfs >= least and m.valid[:, track_index].all()
        if not audible or not self._has_floor(m, track_index):
            return heard
        self._speech_power += float(m.mean_square[:, track_index].mean())
        self._speech_ticks += 1
        speech_dbfs = float(rms_dbfs(self._speech_power / self._speech_ticks))
        heard = replace(
            heard, speech_s=self._speech_ticks * (m.end_s - m.start_s), speech_dbfs=speech_dbfs
        )
        if self._pair is None:
            return heard
        self._pair.add(m)
        offset_db = self._pair.offset_db
        return replace(
            heard,
            offset_db=None if offset_db is None else float(offset_db[0]),
            inverted=self._pair.inverted,
        )

    def _elsewhere(self, taps: Levels, track_index: int, now_s: float) -> int | None:
        """The other input on which the taps came up, while the one asked for stays quiet."""
        if taps[track_index]:
            self._others.clear()
        else:
            self._others.extend((now_s, int(other)) for other in np.flatnonzero(taps))
        while self._others and self._others[0][0] < now_s - ELSEWHERE_S:
            self._others.popleft()
        if self._heard.taps or self._heard.speech_s >= 1.0:
            return None
        counts: dict[int, int] = {}
        for _, other in self._others:
            counts[other] = counts.get(other, 0) + 1
        most = max(counts, key=lambda other: counts[other], default=None)
        if most is not None and counts[most] >= ELSEWHERE_TAPS:
            return self._inputs[most]
        return self._heard.elsewhere

    # ---- how it stands -----------------------------------------------------------------------

    @property
    def is_open(self) -> bool:
        """A check runs."""
        return self._open

    @property
    def asked(self) -> int | None:
        """The input asked for; None while none is."""
        return None if self._asked is None else self._inputs[self._asked]

    @property
    def results(self) -> tuple[LineResult, ...]:
        """The newest result of each input, in input order."""
        return tuple(self._results[n] for n in sorted(self._results))

    def state(self) -> LineCheck | None:
        """How the check stands; None while none is open."""
        if not self._open:
            return None
        return LineCheck(self._order, self.asked, self._heard, self.results)


def _sees(active: Mapping[Fault, Flags], fault: Fault, track_index: int) -> bool:
    return fault in active and bool(active[fault][track_index])

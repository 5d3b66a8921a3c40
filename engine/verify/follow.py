"""Follows a take through a session: the exact offset from window to window.

Where the offset jumps, the file lacks something or has it twice; where it creeps, the recorder's
clock and the interface's differ. The slope is that of Theil and Sen (the median over all pairs of
windows; up to 29.3 % of them may be wild: Sen 1968).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.verify.align import Position, moves, vertex
from engine.verify.traces import SessionTrace, TakeTrace, Trace

WINDOW_S: Final = 10.0
EVERY_S: Final = 5.0
REACH_S: Final = 3.0
"""A jump of up to that much is followed."""

LEAST_MATCH: Final = 0.5
"""Mean correlation at which the offset of a window counts. Ours."""

SURE_MATCH: Final = 0.7
"""Where a window matches that well near the last offset, it is looked for nowhere else."""

JUMP_S: Final = 0.03
"""A smaller change between windows is the uncertainty of one window. Ours, measured: 5 ms."""

CLOCK_FROM_S: Final = 300.0
"""A clock's difference is told of takes at least this long: 5 ms in 300 s are 17 ppm."""


PULLS: Final = (1001 / 1000, 1000 / 1001)
"""By so much a clock is pulled where film and 59.94 Hz video meet: 48048 and 47952 for 48000 Hz.
A recorder that was set so, or a header, runs that much fast or slow. SMPTE ST 12-1's ratio."""

PULL_FROM_S: Final = 40.0
"""A pulled clock is told of takes at least this long, in which it creeps by 40 ms. Ours."""

_ALIGN_STEPS: Final = 50
_MOST_WINDOWS: Final = 400


@dataclass(frozen=True, slots=True)
class Jump:
    """At `at_s` of the take the file goes on elsewhere.

    lost_s : so much of the session is missing there; negative: so much is there twice
    """

    at_s: float
    lost_s: float


@dataclass(frozen=True, slots=True)
class Course:
    """How a take lies on a session.

    start_s : session time of the take's first sample
    ppm : how much faster the recorder's clock runs than the interface's; None where too short
    jumps : where the file lacks something or has it twice
    stretch : seconds that were recorded in a second of the take; not 1 where its header states
        another rate than it was recorded at
    """

    start_s: float
    ppm: float | None
    jumps: tuple[Jump, ...]
    stretch: float = 1.0

    def read_with(self, stretch: float) -> Course:
        """The course in the time of the file's header, of a take followed at its true rate."""
        jumps = tuple(Jump(jump.at_s / stretch, jump.lost_s) for jump in self.jumps)
        return Course(self.start_s, self.ppm, jumps, stretch)

    def session_s(self, take_s: float) -> float:
        """Session time of a moment of the take."""
        skipped = sum(jump.lost_s for jump in self.jumps if jump.at_s <= take_s)
        return self.start_s + take_s * self._pace + skipped

    def take_s(self, session_s: float) -> float:
        """The moment of the take at a session time; the later one of what is there twice."""
        at_s = (session_s - self.start_s) / self._pace
        for jump in self.jumps:
            if at_s - jump.lost_s / self._pace >= jump.at_s:
                at_s -= jump.lost_s / self._pace
        return at_s

    @property
    def _pace(self) -> float:
        return self.stretch * (1.0 - 1e-6 * (self.ppm or 0.0))


def follow(session: SessionTrace, take: TakeTrace, position: Position) -> Course:
    """Follow the take from that rough position on."""
    if session.is_coarse:
        return Course(position.start_s, None, ())
    at_s, offset_s = _offsets(session, take, position)
    if not len(at_s):
        return Course(position.start_s, None, ())
    parts = _parts(offset_s)
    slope = _slope(at_s, offset_s, parts) if take.duration_s >= CLOCK_FROM_S else 0.0
    level_s = offset_s - slope * at_s
    begins_s = [float(np.median(level_s[part])) for part in parts]
    jumps = [
        Jump(
            _boundary(
                session,
                take,
                (begins_s[n - 1], begins_s[n]),
                slope,
                float(at_s[parts[n].start - 1]),
                float(at_s[parts[n].start]) + WINDOW_S,
            ),
            begins_s[n] - begins_s[n - 1],
        )
        for n in range(1, len(parts))
    ]
    told = take.duration_s >= CLOCK_FROM_S
    return Course(begins_s[0], -slope * 1e6 if told else None, tuple(jumps))


def pull_of(session: SessionTrace, take: TakeTrace, position: Position) -> float:
    """Seconds that were recorded in a second of the take: 1, or a pull where that is nearer."""
    if session.is_coarse or take.duration_s < PULL_FROM_S:
        return 1.0
    at_s, offset_s = _offsets(session, take, position)
    if not len(at_s):
        return 1.0
    pace = 1.0 + _slope(at_s, offset_s, _parts(offset_s))
    return min((1.0, *PULLS), key=lambda ratio: abs(pace - ratio))


def aligned(session: SessionTrace, take: TakeTrace, course: Course) -> tuple[int, Trace, Trace]:
    """Levels of both that lie on each other: the first step of the session, then session, take.

    Steps that the session does not have are left out.
    """
    step_s, hop_s = session.step_s, take.hop_s
    hops = round(step_s / hop_s)
    first = max(int(np.ceil(course.start_s / step_s)), 0)
    last = min(int(course.session_s(take.duration_s) / step_s), len(session.level_dbfs))
    parts = [np.empty((0, take.channels), dtype=np.float32)]
    for begin in range(first, last, _ALIGN_STEPS):
        steps = min(_ALIGN_STEPS, last - begin)
        parts.append(take.levels(round(course.take_s(begin * step_s) / hop_s), steps, hops))
    return first, session.level_dbfs[first : max(last, first)], np.concatenate(parts)


def _offsets(
    session: SessionTrace, take: TakeTrace, position: Position
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Begin of each window in the take, and session time minus take time there, s."""
    at_s, offset_s = [], []
    now_s = position.start_s
    for begin_s in np.arange(0.0, max(take.duration_s - WINDOW_S, 0.0) + 1e-9, EVERY_S):
        found = _offset(session, take, float(begin_s), now_s)
        if found is not None:
            at_s.append(float(begin_s))
            offset_s.append(found)
            now_s = found
    return np.array(at_s), np.array(offset_s)


def _offset(session: SessionTrace, take: TakeTrace, begin_s: float, near_s: float) -> float | None:
    """The offset of one window of the take, near another; None where nothing says it clearly."""
    step_s, hop_s = session.step_s, take.hop_s
    hops, reach = round(step_s / hop_s), round(REACH_S / step_s)
    steps = round(min(WINDOW_S, take.duration_s) / step_s)
    first = round((begin_s + near_s) / step_s)  # step of the session where the window should begin
    wanted = _window(session.level_dbfs, first, steps)
    if wanted is None:
        return None
    at_hop = round((first * step_s - near_s) / hop_s)
    strip = _Strip(take, at_hop, steps, hops, (reach + 1) * hops + 2, moves(wanted))
    best, fine = strip.search(0)
    if fine.max() < SURE_MATCH:
        best, fine = strip.search(strip.rough(reach))
    top = int(fine.argmax())
    if fine[top] < LEAST_MATCH:
        return None
    return first * step_s - (at_hop + best + top + vertex(fine, top)) * hop_s


class _Strip:
    """One window of a take with what lies beside it, to be shifted hop by hop."""

    def __init__(
        self,
        take: TakeTrace,
        at_hop: int,
        steps: int,
        hops: int,
        beside: int,
        target: NDArray[np.float64],
    ) -> None:
        level = take.levels(at_hop - beside, steps * hops + 2 * beside)
        power = 10.0 ** (np.nan_to_num(level, nan=-200.0).astype(np.float64) / 10.0)
        self._sums = np.concatenate([np.zeros((1, take.channels)), np.cumsum(power, axis=0)])
        self._edges = beside + hops * np.arange(steps + 1)
        self._hops = hops
        self._tracks = target / (np.linalg.norm(target, axis=0) + 1e-9)

    def match(self, shift: int) -> float:
        """Mean over the lively channels of the best correlation with any track of the session."""
        sums = self._sums[self._edges + shift]
        level = 10.0 * np.log10(np.diff(sums, axis=0) / self._hops + 1e-12)
        there = moves(level)
        lively = np.square(there).mean(axis=0) > 1.0
        if not lively.any():
            return 0.0
        there = there[:, lively] / np.linalg.norm(there[:, lively], axis=0)
        return float((self._tracks.T @ there).max(axis=0).mean())

    def search(self, shift: int) -> tuple[int, NDArray[np.float64]]:
        """Matches of each hop about a shift, and the first shift of them."""
        around = range(shift - self._hops - 1, shift + self._hops + 2)
        return around[0], np.array([self.match(n) for n in around])

    def rough(self, reach: int) -> int:
        """The best shift by whole steps."""
        shifts = [lag * self._hops for lag in range(-reach, reach + 1)]
        return max(shifts, key=self.match)


def _window(level: Trace, first: int, steps: int) -> Trace | None:
    if first < 0 or first + steps > len(level):
        return None
    part: Trace = level[first : first + steps]
    return part


def _parts(offset_s: NDArray[np.float64]) -> list[slice]:
    """Windows between which the offset does not jump."""
    begins = [0]
    for n in range(1, len(offset_s)):
        before = float(np.median(offset_s[max(begins[-1], n - 3) : n]))
        after = float(np.median(offset_s[n : n + 3]))
        if abs(after - before) > JUMP_S and abs(offset_s[n] - before) > JUMP_S:
            begins.append(n)
    return [slice(a, b) for a, b in zip(begins, [*begins[1:], len(offset_s)], strict=True)]


def _slope(at_s: NDArray[np.float64], offset_s: NDArray[np.float64], parts: list[slice]) -> float:
    """Theil and Sen's slope over windows of one part that lie far apart in it."""
    slopes: list[NDArray[np.float64]] = []
    for part in parts:
        x, y = at_s[part], offset_s[part]
        thin = max(len(x) // _MOST_WINDOWS, 1)
        x, y = x[::thin], y[::thin]
        apart = x[None, :] - x[:, None]
        far = apart > max(0.25 * (x[-1] - x[0]), 30.0)
        slopes.append((y[None, :] - y[:, None])[far] / apart[far])
    every = np.concatenate(slopes)
    return float(np.median(every)) if len(every) else 0.0


def _boundary(
    session: SessionTrace,
    take: TakeTrace,
    levels_s: tuple[float, float],
    slope: float,
    from_s: float,
    until_s: float,
) -> float:
    """The moment of the take between two offsets: before it the one fits, after it the other."""
    step_s, hop_s = session.step_s, take.hop_s
    hops = round(step_s / hop_s)
    steps = round((until_s - from_s) / step_s)
    there = take.levels(round(from_s / hop_s), steps, hops)
    errors = []
    for level_s in levels_s:
        first_s = from_s + level_s + slope * from_s
        whole = int(first_s / step_s)
        late = round((first_s - whole * step_s) / hop_s)
        there = take.levels(round(from_s / hop_s) - late, steps, hops)
        here = session.level_dbfs[max(whole, 0) : max(whole, 0) + steps]
        length = min(len(here), len(there))
        apart = _as_one(here[:length], there[:length])
        errors.append(np.concatenate([apart, np.zeros(steps - length)]))
    before, after = np.cumsum(errors[0]), np.cumsum(errors[1][::-1])[::-1]
    cost = np.concatenate([[0.0], before]) + np.concatenate([after, [0.0]])
    return from_s + float(cost.argmin()) * step_s


def _as_one(here: Trace, there: Trace) -> NDArray[np.float64]:
    """Distance of the loudest tracks of both, dB, by step: no channel needs to be where it was.

    The gain between the two is taken off: without that a distance is the same wherever both move.
    """
    one = np.sort(np.nan_to_num(here, nan=-110.0), axis=1)[:, ::-1]
    other = np.sort(np.nan_to_num(there, nan=-110.0), axis=1)[:, ::-1]
    width = min(one.shape[1], other.shape[1])
    apart = one[:, :width] - other[:, :width]
    if len(apart):
        apart = apart - np.median(apart, axis=0)
    return np.asarray(np.abs(apart).mean(axis=1), dtype=np.float64)

"""The interface every fault detector keeps, and what several of them share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, ClassVar, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Flags, Levels, Measurement, State
from engine.model.track_memory import TrackMemory, per_track
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene


@dataclass(frozen=True, slots=True)
class TickContext:
    """How the audio arrives: what a detector may know besides the sound itself.

    `lost_frames` were lost on every track in this tick; `stalled` says that no audio comes at
    all, and then `reason` says why in one line. `standby`: the crew said by hand that it is not
    rolling.
    """

    now_s: float
    lost_frames: int = 0
    stalled: bool = False
    reason: str = ""
    standby: bool = False


class Detector(Protocol):
    """One fault on every track at once.

    On-delay and off-delay belong to the alarms; a time that defines the fault itself (how short a
    dropout is) belongs here. Never reads a clock.

    `NEEDS_SAMPLES`: it looks at every sample, and of `TickContext` at nothing but the time and the
    lost frames, so it may work where the sound is measured (`engine.detectors.sample_bank`).
    """

    NEEDS_SAMPLES: ClassVar[bool]

    def __init__(self, scene: Scene) -> None:
        """Start with nothing seen."""

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Say how every track stands at the end of this tick; None while no audio comes."""

    def detail(self, track_index: int) -> str:
        """What was seen on the track of that index into the plan's tracks, one line."""

    def reset(self) -> None:
        """Forget the sound, keep the scene."""

    def carry(self, before: Any, remap: TrackRemap) -> None:
        """Take over what `before`, of the same class, remembers of the tracks that stay."""


class ForesightedDetector(Detector, Protocol):
    """A detector that makes half of its work for many ticks at once.

    It is told of ticks before it is asked about them, one by one and in order; it may be asked of a
    tick that nobody spoke of before as well. What it says is the same bit for bit either way: what
    it makes ahead is a plain function of the sound and of what it knew then, or a bound that says
    where a closer look is needed (`engine.measure.tick_block`).
    """

    def look_ahead(self, block: TickBlock) -> None:
        """The ticks of that block are asked about next."""


_ONE: Final = np.int8(1)
_TRUE: Final = b"\x01"
"""A True among the bytes of flags."""
_MOST_QUIET: Final = 256
"""So many different quiet conditions are kept to be said again."""


def unknown(tracks: int) -> Condition:
    """A condition that says nothing of any track."""
    return _quiet(bytes(tracks))


@lru_cache
def _nothing(tracks: int) -> tuple[Levels, Flags]:
    """NaN and False for so many tracks, the same arrays for all who ask."""
    times, flags = np.full(tracks, np.nan), np.zeros(tracks, dtype=np.bool_)
    times.setflags(write=False)
    flags.setflags(write=False)
    return times, flags


@lru_cache(_MOST_QUIET)
def _quiet(known: bytes) -> Condition:
    """One condition for all who say it: nearly every answer of nearly every detector is one."""
    state = np.frombuffer(known, dtype=np.int8) - _ONE
    state.setflags(write=False)
    times, flags = _nothing(len(known))
    return Condition(state, times, times, flags, quiet=True)


def quiet(known: Flags) -> Condition:
    """A condition that is active nowhere: clear where it is known, shape (tracks,).

    What says the same is the same object, and not to be written to.
    """
    return _quiet(known.tobytes())


def quiet_ticks(known: Flags) -> list[Condition]:
    """The same of each tick where `known` has shape (ticks, tracks)."""
    said, tracks = known.tobytes(), known.shape[1]
    return [_quiet(said[tracks * n : tracks * (n + 1)]) for n in range(len(known))]


def condition(
    active: Flags,
    known: Flags,
    onset_s: Levels,
    last_s: Levels,
    may_be_red: Flags | None = None,
    partners: NDArray[np.int64] | None = None,
) -> Condition:
    """A condition from plain arrays of shape (tracks,); `known` False wins over `active`."""
    said = active & known
    if _TRUE not in said.tobytes():
        calm = quiet(known)
        return calm if partners is None else replace(calm, partners=partners)
    # In bytes: 1 where active, 0 where clear, all bits set (-1) where unknown; one pass, no choice.
    state = said.view(np.int8) | (known.view(np.int8) - _ONE)
    red = said if may_be_red is None else may_be_red & said
    return Condition(state, onset_s.copy(), last_s.copy(), red, partners)


def doubted(said: Condition, where: Flags) -> Condition:
    """The same, but what is clear there says nothing: for tracks that are heard but now."""
    state = np.where(where & (said.state == State.CLEAR), np.int8(State.UNKNOWN), said.state)
    return replace(said, state=state.astype(np.int8))


def span_s(hops: Flags, m: Measurement) -> tuple[Levels, Levels]:
    """Start of the first and end of the last hop marked, s, shape (tracks,); the tick's if none.

    `hops` has shape (hops, tracks).
    """
    first = hops.argmax(axis=0)
    last = len(hops) - hops[::-1].argmax(axis=0)
    return m.start_s + first * m.hop_s, m.start_s + last * m.hop_s


def stretches(flags: Flags) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First place of each stretch of True in a row, and the place after its last."""
    padded = np.zeros(len(flags) + 2, dtype=np.bool_)
    padded[1:-1] = flags
    edges = indices(padded[1:] != padded[:-1])
    return edges[::2], edges[1::2]


class Runs(TrackMemory):
    """Unbroken runs of a per-hop condition on every track, at hop precision.

    A hop that is not valid neither breaks nor lengthens a run. After `update`, `onset_s` and
    `last_s` (shape (tracks,)) tell of the longest run that stood in this tick, over or not;
    `active` says where there is any, `running` where one goes on.
    """

    onset_s: Levels = per_track(np.nan)
    last_s: Levels = per_track(np.nan)
    running: Flags = per_track(False)
    active: Flags = per_track(False)
    _newest_s: Levels = per_track(np.nan)
    _newest_last_s: Levels = per_track(np.nan)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    def update(self, holds: Flags, valid: Flags, start_s: float, hop_s: float) -> None:
        """Take in one tick; `holds` and `valid` have shape (hops, tracks)."""
        holds = holds & valid
        self.active = self.running.copy()
        if not any_of(self.active) and not any_of(holds):
            return
        self.onset_s[self.active] = self._newest_s[self.active]
        whole = holds.all(axis=0)
        if whole.tobytes() == self.running.tobytes() == holds.any(axis=0).tobytes():
            # As nearly always while a run goes on: all through, and nothing else begins.
            self._newest_last_s[whole] = self.last_s[whole] = start_s + len(holds) * hop_s
            return
        self.last_s[self.active] = self._newest_last_s[self.active]
        longest_s = np.where(self.active, self.last_s - self.onset_s, 0.0)
        for hop in range(len(holds)):
            on, off = holds[hop], valid[hop] & ~holds[hop]
            self._newest_s[on & ~self.running] = start_s + hop * hop_s
            self._newest_last_s[on] = start_s + (hop + 1) * hop_s
            self.running = (self.running | on) & ~off
            self.active |= on
            length_s = self._newest_last_s - self._newest_s
            longer = on & (length_s > longest_s)
            longest_s[longer] = length_s[longer]
            self.onset_s[longer] = self._newest_s[longer]
            self.last_s[longer] = self._newest_last_s[longer]

    def began(self, track_index: int, onset_s: float) -> None:
        """The run told of on that track began at that time, to be exact."""
        if self._newest_s[track_index] == self.onset_s[track_index]:
            self._newest_s[track_index] = onset_s
        self.onset_s[track_index] = onset_s

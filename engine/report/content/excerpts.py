"""The sound around each onset, read from the take afterwards: only what the pictures need."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples
from engine.model.tracks import Plan
from engine.model.units import rms_dbfs
from engine.pipeline.level_history import LevelHistory
from engine.report.content.report_data import Entry, Excerpt
from engine.report.content.sections import AROUND_S
from engine.sources.base import EndOfTake, Source

WAVE_STEP_S: Final = 0.01
LEVEL_STEP_S: Final = 0.1
LEVELS_AROUND_S: Final = 15.0
"""A level a second says too little in five: wider where there is no sound to read."""

_STEPS: Final = round(2 * AROUND_S / WAVE_STEP_S)
_WAVES_A_LEVEL: Final = round(LEVEL_STEP_S / WAVE_STEP_S)

Opener = Callable[[float], Source]
"""Opens the take so many seconds in."""

Progress = Callable[[int, int], None]
"""Told how many of how many are done; may raise to stop."""


@dataclass(slots=True)
class _Wanted:
    """One picture's steps of 10 ms, filled as the take is read; NaN where it was not."""

    entry: Entry
    channel: int
    first_step: int
    low: NDArray[np.float32]
    high: NDArray[np.float32]
    squares: NDArray[np.float64]

    def excerpt(self) -> Excerpt:
        level = rms_dbfs(self.squares.reshape(-1, _WAVES_A_LEVEL).mean(axis=1))
        return Excerpt(
            start_s=self.first_step * WAVE_STEP_S,
            level_step_s=LEVEL_STEP_S,
            level_dbfs=level.astype(np.float32),
            wave_step_s=WAVE_STEP_S,
            low=self.low,
            high=self.high,
        )


def read_excerpts(
    entries: Sequence[Entry],
    open_at: Opener,
    from_s: float = 0.0,
    progress: Progress | None = None,
) -> dict[int, Excerpt]:
    """Excerpts by the entries' numbers; onsets that lie near each other are read in one go.

    `from_s` is where in the take stream time 0 lies.

    Raises
    ------
    SourceError
        Where the take can't be read any more.
    """
    wanted = [_wanted(entry) for entry in sorted(entries, key=lambda e: e.start_s)]
    done = 0
    for group in _groups(wanted):
        first = max(group[0].first_step, -round(from_s / WAVE_STEP_S))
        last = group[-1].first_step + _STEPS
        _read(group, open_at, first, last, from_s)
        done += len(group)
        if progress is not None:
            progress(done, len(wanted))
    return {one.entry.number: one.excerpt() for one in wanted}


def level_excerpts(
    entries: Sequence[Entry], plan: Plan, history: LevelHistory
) -> dict[int, Excerpt]:
    """Excerpts from a level history alone: `LEVELS_AROUND_S` each way, and no waveform."""
    index = {track.input: n for n, track in enumerate(plan.tracks)}
    step_s, peak = history.step_s, history.sample_peak_dbfs
    around = round(LEVELS_AROUND_S / step_s)
    excerpts = {}
    for entry in entries:
        assert entry.track is not None
        first = int(entry.start_s / step_s) - around
        level = np.full(2 * around + 1, np.nan, dtype=np.float32)
        here = peak[max(first, 0) : max(first + len(level), 0), index[entry.track.input]]
        offset = max(-first, 0)
        level[offset : offset + len(here)] = here
        excerpts[entry.number] = Excerpt(first * step_s, step_s, level, is_peak=True)
    return excerpts


def _wanted(entry: Entry) -> _Wanted:
    assert entry.track is not None
    low, high = np.full((2, _STEPS), np.nan, dtype=np.float32)
    squares = np.full(_STEPS, np.nan)  # of float samples far over full scale, too
    first = round((entry.start_s - AROUND_S) / WAVE_STEP_S)
    return _Wanted(entry, entry.track.input - 1, first, low, high, squares)


def _groups(wanted: Sequence[_Wanted]) -> Iterator[list[_Wanted]]:
    group: list[_Wanted] = []
    for one in wanted:
        if group and one.first_step > group[-1].first_step + _STEPS:
            yield group
            group = []
        group.append(one)
    if group:
        yield group


def _read(group: Sequence[_Wanted], open_at: Opener, first: int, last: int, from_s: float) -> None:
    """Read the take from one 10 ms step to another, and give each picture its part."""
    source = open_at(max(from_s + first * WAVE_STEP_S, 0.0))
    hop = max(1, round(source.info.sample_rate_hz * WAVE_STEP_S))
    rest = np.zeros((0, source.info.channels), dtype=np.float32)
    step = first
    try:
        while step < last:
            block = source.read(1.0)
            if block is None:
                continue
            samples = np.concatenate((rest, block.samples))
            steps = len(samples) // hop
            rest = samples[steps * hop :]
            _give(group, samples[: steps * hop], step, hop)
            step += steps
    except EndOfTake:
        pass
    finally:
        source.close()


def _give(group: Sequence[_Wanted], samples: Samples, step: int, hop: int) -> None:
    steps = len(samples) // hop
    for one in group:
        start = max(step, one.first_step)
        stop = min(step + steps, one.first_step + _STEPS)
        if start >= stop:
            continue
        part = samples[(start - step) * hop : (stop - step) * hop, one.channel].reshape(-1, hop)
        part = np.nan_to_num(part)
        here = slice(start - one.first_step, stop - one.first_step)
        one.low[here] = part.min(axis=1)
        one.high[here] = part.max(axis=1)
        one.squares[here] = np.mean(np.square(part, dtype=np.float64), axis=1)

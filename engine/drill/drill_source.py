"""A source that puts the planned faults into the blocks of another as they pass."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from engine.drill.quiet_performer import says_nothing
from engine.drill.schedule import Planned
from engine.inject.base import FLOOR_CONTEXT_S, Planted, Span
from engine.inject.receiver import lose_receiver
from engine.inject.registry import INJECTORS, inject, limit_s
from engine.inject.slow_failure import fail_slowly
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.messages import Block, Samples
from engine.sources.base import EndOfTake, Source
from engine.sources.take import open_take

AHEAD: Final = 4
"""So many faults are made ahead of time: memory is bounded, and no hitch gives one away."""

Look = Callable[[int, int, Sequence[int]], Samples]
"""Clean samples of the take from one frame to another (excluded) of those channels (from 0)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Patch:
    """What stands in the frames from `first` on, shape (frames, tracks)."""

    first: int
    channels: tuple[int, ...]
    samples: Samples
    truth: Truth

    @property
    def last(self) -> int:
        return self.first + len(self.samples)


class DrillSource:
    """The blocks of `source` with the faults put in; the same samples whatever the blocks' length.

    Each fault is worked out on its whole stretch and 20 s before it, read by `look`.
    `first_frame` is the take's frame with which `source` begins.
    """

    def __init__(
        self,
        source: Source,
        planned: Sequence[Planned],
        look: Look,
        seed: int,
        first_frame: int = 0,
    ) -> None:
        self.info = source.info
        self._source, self._look, self._seed = source, look, seed
        self._frame = first_frame
        rate = source.info.sample_rate_hz
        self._waiting = deque(p for p in planned if round(p.end_s * rate) > first_frame)
        self._ready: list[_Patch] = []
        self._unreported: list[Truth] = []
        self._reported: set[int] = set()
        self._prepare(first_frame)

    def read(self, timeout_s: float) -> Block | None:
        """The next block, as `Source.read`."""
        block = self._source.read(timeout_s)
        if block is None:
            return None
        begin = self._frame + block.lost_frames
        self._frame = end = begin + len(block.samples)
        self._prepare(end)
        touched = [p for p in self._ready if p.first < end and p.last > begin]
        if touched:
            channels = np.array(block.samples.T)  # a copy: blocks are not ours to write to
            for patch in touched:
                _put(patch, channels, begin, end)
            block = Block(channels.T, block.lost_frames)
        self._report(end)
        self._ready = [p for p in self._ready if p.last > end]
        return block

    def close(self) -> None:
        """Close the source below."""
        self._source.close()

    def take_truths(self) -> list[Truth]:
        """The faults that began since this was last asked."""
        truths, self._unreported = self._unreported, []
        return truths

    def _prepare(self, end: int) -> None:
        rate = self.info.sample_rate_hz
        while self._waiting and (
            len(self._ready) < AHEAD or round(self._waiting[0].onset_s * rate) < end
        ):
            patch = self._made(self._waiting.popleft())
            if patch is not None:
                self._ready.append(patch)

    def _report(self, end: int) -> None:
        rate = self.info.sample_rate_hz
        for patch in self._ready:
            truth = patch.truth
            if truth.number not in self._reported and round(truth.onset_s * rate) < end:
                self._reported.add(truth.number)
                self._unreported.append(truth)

    def _made(self, planned: Planned) -> _Patch | None:
        rate = self.info.sample_rate_hz
        first, last = round(planned.onset_s * rate), round(planned.end_s * rate)
        begin = max(0, first - round(FLOOR_CONTEXT_S * rate))
        channels = tuple(number - 1 for number in planned.tracks)
        also = (planned.source - 1,) if planned.source else ()
        audio = self._look(begin, last, channels + also)
        last = min(last, begin + len(audio))
        if last <= first or _too_little_speech(planned, audio, rate, first - begin):
            return None
        rng = np.random.default_rng([self._seed, planned.number])
        samples, planted = _injected(planned, audio, rate, first - begin, rng)
        truth = _truth(planned, planted, begin / rate)
        return _Patch(first, channels, samples[first - begin :, : len(channels)], truth)


def _put(patch: _Patch, channels: Samples, begin: int, end: int) -> None:
    first, last = max(patch.first, begin), min(patch.last, end)
    for column, channel in enumerate(patch.channels):
        piece = patch.samples[first - patch.first : last - patch.first, column]
        channels[channel, first - begin : last - begin] = piece


def _injected(
    planned: Planned, audio: Samples, rate: int, first: int, rng: np.random.Generator
) -> tuple[Samples, Sequence[Planted]]:
    """The stretch with the fault in, and its truth by the stretch's own time."""
    numbers = tuple(range(1, len(planned.tracks) + 1))
    onset_s, end_s = first / rate, len(audio) / rate
    if planned.cause is Cause.NOTHING:
        span = Span(audio, rate, first, len(audio), tuple(n - 1 for n in numbers))
        done = audio.copy(order="K")
        done[first:] = says_nothing(span, rng).samples
        return done, ()
    if planned.cause is Cause.RECEIVER:
        return lose_receiver(audio, rate, numbers, onset_s, end_s, planned.strength, rng)
    fault = planned.cause.fault
    assert fault is not None
    if planned.cause.slow:
        done, truth = fail_slowly(audio, rate, fault, onset_s, end_s, planned.strength, rng)
        return done, (truth,)
    if planned.cause is Cause.POLARITY:
        numbers = (1,)  # its own other pack is right
    done, truth = inject(audio, rate, fault, numbers, onset_s, end_s, planned.strength, rng)
    return done, (truth,)


def _too_little_speech(planned: Planned, audio: Samples, rate: int, first: int) -> bool:
    """The fault would show in speech alone, and there is not enough of it: it is left out."""
    row = INJECTORS.get(planned.cause.fault) if planned.cause.fault else None
    if row is None or row.speech_s == 0.0:
        return False
    return Span(audio, rate, first, len(audio), (0,)).speech_s(0) < limit_s(row.speech_s)


def _truth(planned: Planned, planted: Sequence[Planted], begin_s: float) -> Truth:
    severities = [one.severity for one in planted if one.severity is not None]
    return Truth(
        number=planned.number,
        cause=planned.cause,
        tracks=planned.tracks,
        onset_s=min((begin_s + one.onset_s for one in planted), default=planned.onset_s),
        end_s=max((begin_s + one.end_s for one in planted), default=planned.end_s),
        strength=planned.strength,
        severity=max(severities, default=None),
        remark=planted[0].remark if planted else "says nothing",
    )


def look_into(path: str | Path, rate: int) -> Look:
    """Reads stretches of that take of that sample rate; see `open_take` for what can go wrong."""

    def look(first: int, last: int, channels: Sequence[int]) -> Samples:
        take = open_take(path, from_s=first / rate, read_ahead=0)
        pieces: list[Samples] = []
        left = last - first
        try:
            while left > 0:
                block = take.read(0.0)
                if block is not None:
                    pieces.append(block.samples[:left, list(channels)].T)
                    left -= pieces[-1].shape[1]
        except EndOfTake:
            pass
        finally:
            take.close()
        return np.concatenate(pieces, axis=1).T

    return look

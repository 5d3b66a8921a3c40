"""Blocks in, measurements out: cuts ticks on a fixed grid, through gaps, whatever the blocks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from engine.measure.floor import Learned
from engine.measure.meter import Meter
from engine.model.messages import Flags, Samples
from engine.model.tick import Tick
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene

LONGEST_GAP_S: Final = 5.0
"""A longer gap is skipped: it says no more about a track, and measuring it would take time."""


class TickFramer:
    """Holds what came in until a tick is whole, and the meter that measures it."""

    def __init__(
        self, scene: Scene, learned: Learned | None = None, meter: type[Meter] = Meter
    ) -> None:
        self.meter = meter(scene, learned)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self._inputs = _rows([track.input - 1 for track in scene.tracks])
        self._ticks = 0
        self._unreported_lost = 0
        self._pending: Samples
        self._missing: Flags
        self._filled: int
        self._begin()

    @property
    def tick_s(self) -> float:
        """Length of a tick, s; 0.1 but for rates that are no multiple of 100 Hz."""
        return self.meter.tick_frames / self._rate_hz

    @property
    def now_s(self) -> float:
        """Stream time at the end of the last whole tick."""
        return self._ticks * self.tick_s

    @property
    def fed_s(self) -> float:
        """Stream time at the end of the last frame that came in."""
        return self.now_s + self._filled / self._rate_hz

    def change(self, scene: Scene, remap: TrackRemap) -> None:
        """Go on with the tracks of another plan; of a new one the tick that fills begins empty."""
        self.meter = self.meter.changed(scene, remap)
        missing = np.broadcast_to(self._missing, self._pending.shape)
        self._tracks = len(scene.tracks)
        self._inputs = _rows([track.input - 1 for track in scene.tracks])
        self._pending = remap.first(self._pending, 0.0)
        self._missing = remap.first(missing, False)
        self._missing[remap.old < 0, : self._filled] = True

    def feed(self, samples: Samples, at_once: int = 1) -> Iterator[Tick]:
        """Take in samples, shape (frames, channels of the source); the ticks they complete.

        Up to `at_once` whole ticks are measured together: quicker, and the same bit for bit, but
        what the meter is told between two of them comes too late for the second.
        """
        done = 0
        while done < len(samples):
            whole = min((len(samples) - done) // self.meter.tick_frames, at_once)
            if self._filled == 0 and whole > 1:
                part = samples[done : done + whole * self.meter.tick_frames]
                yield from self._measure(part.T[self._inputs].T, None)
            else:
                missing = self.meter.tick_frames - self._filled
                part = samples[done : done + missing]
                yield from self._push(part.T, len(part), reported=True)
            done += len(part)

    def lose(self, frames: int, reported: bool) -> Iterator[Tick]:
        """Go through a gap; of a long one only its begin, and skip whole ticks of the rest.

        `reported`: what stalled has its own alarm, so it is not to be reported as lost, too.
        """
        longest = round(LONGEST_GAP_S * self._rate_hz)
        skipped = max(frames - longest, 0) // self.meter.tick_frames
        yield from self._push(None, frames - skipped * self.meter.tick_frames, reported)
        self.skip(skipped)
        if not reported:
            self._unreported_lost += skipped * self.meter.tick_frames

    def skip(self, ticks: int) -> None:
        """Let time go on without measuring."""
        self._ticks += ticks
        self.meter.skip(ticks)

    def finish(self) -> None:
        """The take has ended: count its last, incomplete tick in the totals."""
        samples, missing = self._pending[:, : self._filled].T, self._missing[..., : self._filled]
        self.meter.finish(samples, missing if missing.any() else None)
        self._begin()

    def _push(self, channels: Samples | None, frames: int, reported: bool) -> Iterator[Tick]:
        """Fill ticks from samples, shape (channels of the source, frames), or from lost frames."""
        done = 0
        while done < frames:
            filled = self._filled
            step = min(self.meter.tick_frames - filled, frames - done)
            here = slice(filled, filled + step)
            self._pending[:, here] = (
                0.0 if channels is None else channels[self._inputs, done : done + step]
            )
            self._missing[..., here] = channels is None
            self._filled += step
            done += step
            if not reported:
                self._unreported_lost += step
            if self._filled == self.meter.tick_frames:
                pending, gap = self._pending.T, self._missing
                self._begin()
                yield from self._measure(pending, gap if gap.any() else None)

    def _measure(self, samples: Samples, missing: Flags | None) -> Iterator[Tick]:
        for measurement in self.meter.measure(samples, missing):
            self._ticks += 1
            lost, self._unreported_lost = self._unreported_lost, 0
            yield Tick(self._ticks, measurement, lost)

    def _begin(self) -> None:
        """Fresh memory for each tick: what looked at the last one may keep it."""
        self._pending = np.empty((self._tracks, self.meter.tick_frames), dtype=np.float32)
        self._missing = np.zeros(self.meter.tick_frames, dtype=np.bool_)
        self._filled = 0


def _rows(inputs: list[int]) -> slice | list[int]:
    """Those rows of a source; in one piece where they follow each other, which copies them once."""
    piece = slice(inputs[0], inputs[0] + len(inputs)) if inputs else slice(0)
    return piece if inputs == list(range(piece.start or 0, piece.stop)) else inputs

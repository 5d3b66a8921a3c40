"""The interface every fault injector keeps: a span of clean audio in, its replacement out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from engine.model.messages import Fault, Levels, Samples, Severity
from engine.model.units import SPEECH_DB, mean_square_at

HOP_S: Final = 0.01
FLOOR_SHARE: Final = 10.0
"""Per cent of 10 ms hops at or below the live floor; common practice, no source."""
FLOOR_CONTEXT_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Planted:
    """The truth of one planted fault.

    tracks : input numbers (1-based channels of the samples)
    onset_s, end_s : where the fault itself is to be heard first and last; inside the span asked
    strength : 0 (hardly there) to 1 (gross), in the terms of the injector's docstring
    severity : the worst alarm deserved under the default limits of a lav; None: too short for one
    remark : what was done, one line
    events_s : begin and end of each gap, burst or run of flat tops, where the fault is made of such
    """

    tracks: tuple[int, ...]
    fault: Fault
    onset_s: float
    end_s: float
    strength: float
    severity: Severity | None
    remark: str
    events_s: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Span:
    """What an injector is given: the clean samples and which of them to replace.

    samples : (frames, channels), the whole take, never to be written to
    first, last : frames of the span, `last` excluded
    places : columns to replace (a fault that needs a second track reads it from `samples`)
    """

    samples: Samples
    rate: int
    first: int
    last: int
    places: tuple[int, ...]

    @property
    def frames(self) -> int:
        """Frames in the span."""
        return self.last - self.first

    def clean(self) -> Samples:
        """A copy of what the fault replaces, shape (frames, len(places)), contiguous by track."""
        rows = [self.samples[self.first : self.last, place] for place in self.places]
        return np.array(rows, dtype=np.float32).T

    def live_floor_dbfs(self) -> Levels:
        """Live floor of each place round the span, AES17 RMS, shape (len(places),).

        The level that a tenth of the 10 ms hops stay under, within 20 s before the span and the
        span itself; hops of digital zero are left out. Common practice, no source.
        """
        return np.array([self.floor_dbfs(place) for place in self.places])

    def floor_dbfs(self, place: int) -> float:
        """Live floor of any one place (column) round the span."""
        begin = max(0, self.first - int(FLOOR_CONTEXT_S * self.rate))
        power = self._hops(place, begin)
        power = power[power > 0.0]
        if not len(power):
            return -100.0
        return float(10.0 * np.log10(2.0 * np.percentile(power, FLOOR_SHARE)))

    def speech_s(self, place: int) -> float:
        """Seconds of speech in the span on that place (column)."""
        least = float(mean_square_at(self.floor_dbfs(place) + SPEECH_DB))
        return HOP_S * int(np.count_nonzero(self._hops(place, self.first) >= least))

    def _hops(self, place: int, begin: int) -> Levels:
        """Mean square of each hop from `begin` to the end of the span."""
        hop = max(1, int(HOP_S * self.rate))
        audio = self.samples[begin : self.last, place]
        hops = audio[: len(audio) // hop * hop].reshape(-1, hop).astype(np.float64)
        return np.asarray(np.mean(hops**2, axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Put:
    """What an injector answers.

    samples : (frames, places) float32 to stand in the span
    remark : what was done, one line
    events : first and last frame (excluded) of each gap, burst or run, counted from the span's
        first frame; empty where the fault fills the span
    severity_at_most : the worst alarm this shape of the fault deserves, however long it lasts;
        None: it deserves none
    """

    samples: Samples
    remark: str
    events: tuple[tuple[int, int], ...] = ()
    severity_at_most: Severity | None = Severity.RED


class Injector(Protocol):
    """One fault put into the places of a span; pure but for the generator it draws from."""

    def __call__(self, span: Span, strength: float, rng: np.random.Generator) -> Put:
        """The replacement of the span."""


def ramp(frames: int, rate: int, fade_s: float) -> Samples:
    """A weight of shape (frames, 1): 0 to 1 within `fade_s`, and back to 0 at the end.

    Raised cosine, so that the fade itself adds no click.
    """
    fade = min(int(fade_s * rate), frames // 2)
    weight = np.ones(frames, dtype=np.float32)
    if fade:
        slope = 0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)
        weight[:fade] = slope
        weight[-fade:] = slope[::-1]
    return weight[:, np.newaxis]


def spread(
    frames: int, rate: int, lengths: list[int], rng: np.random.Generator
) -> tuple[tuple[int, int], ...]:
    """Place events of those lengths in a span, in order, at least 100 ms apart; the first at 0.

    Events that do not fit are left out, never the first (which is cut to the span).
    """
    least_gap = int(0.1 * rate)
    events = [(0, min(lengths[0], frames))]
    rest = frames - sum(lengths) - least_gap * len(lengths)
    cuts = np.sort(rng.uniform(0.0, max(rest, 0), len(lengths) - 1)).astype(int)
    used = lengths[0]
    for cut, length in zip(cuts, lengths[1:], strict=True):
        first = max(used + int(cut), events[-1][1]) + least_gap
        if first + length > frames:
            break
        events.append((first, first + length))
        used += length + least_gap
    return tuple(events)

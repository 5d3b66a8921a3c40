"""Slow failures: a pack that goes from healthy to an alarm over minutes.

Early signs can tell them before their alarm, and a drill plants them so that the crew learns to
act on the sign.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from engine.inject.base import Injector, Planted, Put, Span, ramp
from engine.inject.noise import at_level, white
from engine.model.messages import Fault, Samples, Severity

DOPPLER_HZ: Final = 2.6
"""Somebody who walks at 1.3 m/s on 600 MHz (speed over wavelength)."""
MARGIN_DB: Final = 32.0
"""Of a link that is well; common practice, no source."""
STEP_S: Final = 1.0
EDGE_S: Final = 0.001
TURNS: Final = (0.0, 0.85, 1.0)
"""Share of the span at which noise begins, quickens, ends. Ours."""


def fading_link(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """The margin of a link to two antennas shrinks evenly from 32 dB to 8 dB (strength 0) or 2 dB
    (1); outages, to digital zero, of a Rayleigh channel come ever more often and last ever longer.
    """
    events, frames = [], round(STEP_S * span.rate)
    for first in range(0, span.frames, frames):
        margin_db = MARGIN_DB - (MARGIN_DB - 8.0 + 6.0 * strength) * first / span.frames
        for begin_s, length_s in outages(margin_db, STEP_S, rng):
            begin = first + round(begin_s * span.rate)
            events.append((begin, begin + max(round(length_s * span.rate), 1)))
    whole = _apart(sorted(events), span.frames, round(0.02 * span.rate))
    done = span.clean()
    for begin, end in whole:
        done[begin:end] *= 1.0 - ramp(end - begin, span.rate, EDGE_S)
    return Put(done, f"a link that fades: {len(whole)} gaps, ever longer", whole)


def outages(
    margin_db: float, length_s: float, rng: np.random.Generator
) -> list[tuple[float, float]]:
    """Begin and length, s, of the outages of a link to two antennas with that margin.

    Crossings a second and the mean time below of one antenna, with r the ratio of bound to RMS:
    sqrt(2 pi) f r exp(-r^2) and (exp(r^2) - 1) / (r f sqrt(2 pi)) (W. C. Jakes, "Microwave Mobile
    Communications", 1974, ch. 1; from memory); both antennas must be down at once.
    """
    ratio = 10.0 ** (-margin_db / 20.0)
    crossings = np.sqrt(2.0 * np.pi) * DOPPLER_HZ * ratio * np.exp(-(ratio**2))
    share = 1.0 - np.exp(-(ratio**2))
    many = rng.poisson(2.0 * crossings * share * length_s)
    mean_s = share / crossings / 2.0
    return [(float(rng.uniform(0, length_s)), float(rng.exponential(mean_s))) for _ in range(many)]


def _apart(events: list[tuple[int, int]], frames: int, least: int) -> tuple[tuple[int, int], ...]:
    """Outages that are nearer than so many frames are one, and none outlasts the span."""
    joined: list[tuple[int, int]] = []
    for begin, end in events:
        if joined and begin < joined[-1][1] + least:
            begin, end = joined[-1][0], max(end, joined.pop()[1])
        joined.append((begin, min(end, frames)))
    return tuple(joined)


def creeping_noise(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """White noise under the sound rises evenly in dB, from 10 dB under the live floor to 8 dB over
    it; then the link falls under its FM threshold, where noise grows quickly (S. O. Rice, 1963; see
    `noise.link_hash`), to 25 dB (strength 0) or 40 dB (1) over it."""
    way = np.linspace(0.0, 1.0, span.frames)
    rise_db = np.interp(way, TURNS, (-10.0, 8.0, 25.0 + 15.0 * strength))[:, np.newaxis]
    noise = at_level(white(span.frames, len(span.places), rng), span.live_floor_dbfs())
    weight = ramp(span.frames, span.rate, 0.05)
    done = span.clean() + noise * weight * 10.0 ** (rise_db / 20.0)
    return Put(np.clip(done, -1.0, 1.0).astype(np.float32), "noise that creeps up")


SLOW: Final[Mapping[Fault, Injector]] = {
    Fault.DROPOUT: fading_link,
    Fault.NOISE: creeping_noise,
}
"""By the fault in which each of them ends."""


def fail_slowly(
    samples: Samples,
    rate: int,
    fault: Fault,
    onset_s: float,
    end_s: float,
    strength: float,
    rng: np.random.Generator,
) -> tuple[Samples, Planted]:
    """The first track of the samples failing over [onset_s, end_s) until it has that fault."""
    span = Span(samples, rate, round(onset_s * rate), round(end_s * rate), (0,))
    put = SLOW[fault](span, strength, rng)
    done = samples.copy(order="K")
    done[span.first : span.last, 0] = put.samples[:, 0]
    events = tuple((onset_s + a / rate, onset_s + b / rate) for a, b in put.events)
    worst = Severity.RED
    return done, Planted((1,), fault, onset_s, end_s, strength, worst, put.remark, events)

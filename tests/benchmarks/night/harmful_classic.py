"""The faults everybody knows, by models of this benchmark's own.

Levels and times are common practice without a source.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from tests.benchmarks.night.cases import Span, harmful
from tests.benchmarks.night.harmful_link import LONELY, open_squelch, until
from tests.benchmarks.night.harmful_patch import hum
from tests.benchmarks.night.scenes import SPARE, Take
from tests.benchmarks.night.sounds import band, gain, shaped, white

Rng = np.random.Generator


@harmful("muted_zero", "muted", 0.5, 2.0, chains=("direct",), after_rig=True)
def muted_zero(take: Take, rng: Rng) -> Span:
    """Digital zero for 12 s."""
    take.audio[take.span(12.0), LONELY] = 0.0
    return until(take, 12.0, LONELY)


@harmful("muted_frozen", "muted stuck dc", 0.5, 2.0, after_rig=True)
def muted_frozen(take: Take, rng: Rng) -> Span:
    """One value that stands for 12 s."""
    part = take.span(12.0)
    take.audio[part, LONELY] = take.audio[part.start, LONELY]
    return until(take, 12.0, LONELY)


@harmful("dead_mic", "dead_mic", 5.0, 10.0)
def dead_mic(take: Take, rng: Rng) -> Span:
    """The capsule is dead: the bodypack's amplifier alone, white with 1/f below 300 Hz, at -84 to
    -78 dBFS, well under any place."""
    part = take.span(999.0)
    frames = part.stop - part.start
    level = float(rng.uniform(-84.0, -78.0))
    noise = white(frames, rng, level) + shaped(
        frames, take.rate, band(20.0, 300.0, -3.0), rng, level - 4.0
    )
    take.audio[part, LONELY] = noise
    return until(take, 999.0, LONELY)


@harmful("dropouts", "dropout", 1.0)
def dropouts(take: Take, rng: Rng) -> Span:
    """Four gaps of 20 to 300 ms within 8 s, edges of a millisecond, down to the link's silence."""
    at_s = take.at_s
    for _ in range(4):
        length_s = float(rng.uniform(0.02, 0.3))
        gap = slice(take.frame(at_s), take.frame(at_s + length_s))
        take.audio[gap, LONELY] *= gain(-60.0)
        end_s = at_s + length_s
        at_s += length_s + float(rng.uniform(0.8, 2.2))
    return Span((LONELY,), take.at_s, end_s)


@harmful("hash_bursts", "noise_burst noise dropout", 1.0)
def hash_bursts(take: Take, rng: Rng) -> Span:
    """Bursts of link noise for 8 s, 60 to 400 ms, -26 to -10 dBFS, in the voice's stead."""
    at_s, last_s = take.at_s, min(take.at_s + 8.0, take.frames / take.rate - 0.5)
    end_s = at_s
    while at_s < last_s:
        length_s = float(rng.uniform(0.06, 0.4))
        burst = slice(take.frame(at_s), take.frame(at_s + length_s))
        frames = burst.stop - burst.start
        level = float(rng.uniform(-26.0, -10.0))
        take.audio[burst, LONELY] = shaped(frames, take.rate, open_squelch, rng, level)
        end_s = at_s + length_s
        at_s += length_s + float(rng.uniform(0.8, 2.5))
    return Span((LONELY,), take.at_s, end_s)


def _hum(name: str, mains_hz: float, level_dbfs: float, red_s: float | None) -> None:
    @harmful(name, "hum", 3.0, red_s, family="hum")
    def hum_on_one(take: Take, rng: Rng) -> Span:
        """Mains hum on one input."""
        part = take.span(999.0)
        take.audio[part, LONELY] += hum(take, part.stop - part.start, mains_hz, level_dbfs, rng)
        return until(take, 999.0, LONELY)


_hum("hum_50_weak", 50.0, -50.0, None)
_hum("hum_50", 50.0, -36.0, 10.0)
_hum("hum_60", 60.0, -40.0, None)


@harmful("low", "low", 20.0, evidence="speech", seconds=100.0, at_s=0.0)
def low(take: Take, rng: Rng) -> Span:
    """The gain on a main stands 30 dB too low from the start."""
    take.audio[:, 0] *= gain(-30.0)
    return Span((0,), 0.0, take.frames / take.rate, (0,))


@harmful("polarity", "polarity", 5.0, evidence="speech")
def polarity(take: Take, rng: Rng) -> Span:
    """A pack comes back from a change of cable with its polarity inverted."""
    take.audio[take.span(999.0), 1] *= -1.0
    return until(take, 999.0, 0, 1, audible=(0,))


def _drift(name: str, db: float, muffled: bool) -> None:
    @harmful(name, "pair_drift", 10.0, evidence="speech", seconds=90.0, at_s=40.0, family="pair")
    def drift(take: Take, rng: Rng) -> Span:
        """One pack of a pair slips: quieter by so much, with a dull sound where it is muffled."""
        part = take.span(999.0)
        voice = take.speech[part, 0] * gain(-db)
        if muffled:
            voice = signal.lfilter([0.3], [1.0, -0.7], voice).astype(np.float32)
        take.audio[part, 0] = take.floor[part, 0] * gain(-0.5 * db) + voice
        return until(take, 999.0, 0, 1, audible=(0,))


_drift("pair_slipped_6", 6.0, False)
_drift("pair_slipped_10", 10.0, False)
_drift("pair_muffled_9", 9.0, True)


@harmful("unexpected", "unexpected", 5.0, evidence="speech")
def unexpected(take: Take, rng: Rng) -> Span:
    """A voice comes on the spare input, from a mic nobody has planned."""
    part = take.span(999.0)
    other = take.stems[part].sum(axis=1) + 0.01 * take.floor[part, 8]
    take.audio[part, SPARE] += other * gain(6.0)
    return until(take, 999.0, SPARE, audible=(SPARE,))

"""Faults of patching, clocks and buffers, of many inputs at once; and marks that are no alarm."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.night.cases import Span, harmful
from tests.benchmarks.night.harmful_link import open_squelch, repeated, until
from tests.benchmarks.night.harmless_inputs import gusts, thumps
from tests.benchmarks.night.scenes import SPARE, Take
from tests.benchmarks.night.sounds import (
    band,
    delayed,
    edges,
    gain,
    rms_of,
    shaped,
    tone,
    white,
)

Rng = np.random.Generator
ALL = tuple(range(11))
LONELY = 6


def _stuck(name: str, period_s: float, tracks: tuple[int, ...]) -> None:
    several = len(tracks) > 1

    @harmful(
        name,
        "stuck",
        0.5 + period_s,
        2.0 + period_s,
        after_rig=True,
        one_alarm=several,
        family="stuck_all" if several else "stuck",
    )
    def stuck(take: Take, rng: Rng) -> Span:
        """The last buffer again and again for 6 s, bit for bit."""
        part = take.span(6.0)
        frames = round(period_s * take.rate)
        for track in tracks:
            piece = take.audio[part.start - frames : part.start, track].copy()
            take.audio[part, track] = repeated(piece, part.stop - part.start)
        return until(take, 6.0, *tracks)


for _ms in (10, 21, 85, 1000):
    _stuck(f"stuck_{_ms}ms", 0.001 * _ms, (LONELY,))
    _stuck(f"stuck_{_ms}ms_all", 0.001 * _ms, ALL)


def _slips(name: str, frames: int) -> None:
    @harmful(
        name, "clock", 3.5, 12.0, evidence="plan", after_rig=True, one_alarm=True, family="slip"
    )
    def slips(take: Take, rng: Rng) -> Span:
        """Each second some frames are lost (or come twice, where negative), on all inputs, 30 s."""
        source = np.arange(take.frames + 64 * 32)
        for second in range(30):
            at = take.frame(take.at_s + second + float(rng.uniform(0.0, 0.05)))
            source[at:] += frames
        taken = np.minimum(source[: take.frames], take.frames - 1)
        take.audio[:] = take.audio[taken]
        return until(take, 30.0, *ALL, SPARE)


_slips("slip_64_lost", 64)
_slips("slip_64_twice", -64)
_slips("slip_1_lost", 1)


def _swapped(name: str, moves: dict[int, int], beside: str = "") -> None:
    @harmful(
        name,
        "swapped",
        10.0,
        evidence="speech",
        beside=beside,
        seconds=92.0,
        at_s=40.0,
    )
    def swapped(take: Take, rng: Rng) -> Span:
        """From a moment on inputs carry each other's signal."""
        part = take.span(999.0)
        before = take.audio[part].copy()
        for track, origin in moves.items():
            take.audio[part, track] = before[:, origin]
        return until(take, 999.0, *moves, audible=tuple(moves))


_swapped("swapped_mains", {0: 2, 2: 0})
_swapped("swapped_both_packs", {0: 2, 2: 0, 1: 3, 3: 1})
_swapped(
    "moved_by_one", {n: (n - 1) % 12 for n in range(12)}, "unexpected silent muted dead_mic low"
)


def _copied(name: str, lag: float) -> None:
    @harmful(
        name,
        "duplicate",
        5.0,
        15.0,
        evidence="speech",
        beside="unexpected pair_drift swapped",
        family="copied",
    )
    def copied(take: Take, rng: Rng) -> Span:
        """One signal on two inputs, some samples apart."""
        source, target = (0, LONELY)
        part = take.span(999.0)
        take.audio[part, target] = delayed(take.audio[:, source], lag)[part]
        return until(take, 999.0, target, source, audible=(source,))


for _lag in (0, 1, 3):
    _copied(f"copied_{_lag}", float(_lag))


def _floor_copied(name: str, own_noise: bool) -> None:
    @harmful(name, "duplicate", 5.0, evidence="plan", beside="unexpected", family="floor")
    def floor_copied(take: Take, rng: Rng) -> Span:
        """Nobody speaks; the ambience's steady air comes on the spare input too, bit-equal or with
        its own converter's noise."""
        part = take.span(999.0)
        take.audio[part] = take.floor[part]
        take.audio[part, SPARE] = take.audio[part, 9]
        if own_noise:
            take.audio[part, SPARE] += white(part.stop - part.start, rng, -100.0)
        return until(take, 999.0, SPARE, 9)


_floor_copied("floor_copied", False)
_floor_copied("floor_copied_converter", True)


def hum(take: Take, frames: int, mains_hz: float, level_dbfs: float, rng: Rng) -> np.ndarray:
    """Mains hum: the frequency wanders by 20 mHz as grids do, odd harmonics stronger, 1/n."""
    drift = mains_hz + 0.02 * np.sin(2.0 * np.pi * np.arange(frames) / take.rate / 30.0)
    phase = 2.0 * np.pi * np.cumsum(drift) / take.rate
    lines = sum(
        (1.0 if n % 2 else 0.4) / n * np.sin(n * phase + rng.uniform(0.0, 6.28))
        for n in range(1, 11)
    )
    lines = np.asarray(lines, dtype=np.float32)
    return lines * np.float32(rms_of(level_dbfs) / np.sqrt(np.mean(np.square(lines))))


@harmful("hum_on_all", "hum", 3.0, one_alarm=True)
def hum_on_all(take: Take, rng: Rng) -> Span:
    """Mains hum of one source on all inputs, -44 dBFS give or take 3 dB."""
    part = take.span(999.0)
    lines = hum(take, part.stop - part.start, 50.0, -44.0, rng)
    for track in ALL:
        take.audio[part, track] += lines * gain(float(rng.uniform(-3.0, 3.0)))
    return until(take, 999.0, *ALL)


@harmful("noise_on_all", "noise noise_burst", 5.0, one_alarm=True)
def noise_on_all(take: Take, rng: Rng) -> Span:
    """Noise of one source (a clock out of lock) on all inputs, -32 dBFS."""
    part = take.span(30.0)
    frames = part.stop - part.start
    for track in ALL:
        take.audio[part, track] += shaped(frames, take.rate, open_squelch, rng, -32.0)
    return until(take, 30.0, *ALL)


@harmful("tone_on_all", "tone", 5.0, one_alarm=True)
def tone_on_all(take: Take, rng: Rng) -> Span:
    """1 kHz at -20 dBFS added on all inputs for 20 s in the middle of the take."""
    part = take.span(20.0)
    steady = tone(part.stop - part.start, take.rate, 1000.0, -20.0)
    take.audio[part, : len(ALL)] += steady[:, None]
    return until(take, 20.0, *ALL)


@harmful("receiver_goes", "muted input_lost", 2.5, 4.5, one_alarm=True)
def receiver_goes(take: Take, rng: Rng) -> Span:
    """Receiver A goes: its four tracks fall to digital zero within 0.3 s."""
    for track in range(4):
        start = take.frame(take.at_s + float(rng.uniform(0.0, 0.3)))
        take.audio[start : start + 15 * take.rate, track] = 0.0
    return until(take, 15.3, 0, 1, 2, 3)


@harmful("receiver_goes_with_fault", "muted input_lost", 2.5, 4.5, beside="hum", one_alarm=True)
def receiver_goes_with_fault(take: Take, rng: Rng) -> Span:
    """The same, while one of its tracks has hummed for 12 s already."""
    part = slice(take.frame(take.at_s - 12.0), take.frame(take.at_s))
    take.audio[part, 2] += hum(take, part.stop - part.start, 50.0, -34.0, rng)
    return receiver_goes(take, rng)


@harmful("mark_wind", "wind", 5.0, evidence="mark")
def mark_wind(take: Take, rng: Rng) -> Span:
    """Wind to -6 dBFS for 20 s on a single pack: no alarm, a mark for post."""
    part = take.span(20.0)
    take.audio[part, LONELY] += gusts(take, part.stop - part.start, rng, 0.45)
    return until(take, 20.0, LONELY)


@harmful("mark_rustle", "rustle", 5.0, evidence="mark")
def mark_rustle(take: Take, rng: Rng) -> Span:
    """Cloth rubs over the voice for 15 s."""
    part = take.span(15.0)
    frames = part.stop - part.start
    rub = shaped(frames, take.rate, band(150.0, 8000.0, -2.0), rng, -26.0)
    strokes = np.tile(edges(take.rate // 2, take.rate // 6), frames * 2 // take.rate + 1)[:frames]
    take.audio[part, LONELY] += rub * strokes
    return until(take, 15.0, LONELY)


@harmful("mark_hits", "hit hits", 5.0, evidence="mark")
def mark_hits(take: Take, rng: Rng) -> Span:
    """Blows on the body for 12 s over the voice."""
    part = take.span(12.0)
    take.audio[part, LONELY] += thumps(take, part.stop - part.start, rng, 0.6, 0.6)
    return until(take, 12.0, LONELY)

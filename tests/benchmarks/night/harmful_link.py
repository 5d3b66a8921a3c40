"""Faults of radio links, digital links, receivers, cables and packs.

Sources: noise of FM reception from S. O. Rice, "Noise in FM receivers" (1963): parabolic with a
carrier, flat without; de-emphasis 50 µs; fading after Clarke and Jakes. Durations and levels are
common practice without a source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.night.cases import Span, harmful
from tests.benchmarks.night.rig import DIRECT_COUPLED, limited
from tests.benchmarks.night.scenes import Take
from tests.benchmarks.night.sounds import Audio, edges, fading, rms_of, shaped, white

Rng = np.random.Generator
LONELY = 6
BOOM = 7


def open_squelch(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """No carrier: flat after the discriminator, then de-emphasis; audio ends at 15 kHz."""
    return 1.0 / np.sqrt((1.0 + (2.0 * np.pi * hz * 50e-6) ** 2) * (1.0 + (hz / 15e3) ** 8))


def weak_carrier(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """A weak carrier: noise power grows with f² before the de-emphasis."""
    return hz * open_squelch(hz)


def until(take: Take, seconds: float, *tracks: int, audible: tuple[int, ...] = ()) -> Span:
    """The span from `at_s` on those tracks."""
    return Span(tracks, take.at_s, min(take.at_s + seconds, take.frames / take.rate), audible)


@harmful("standing_link_noise", "noise noise_burst", 1.0, 5.0)
def standing_link_noise(take: Take, rng: Rng) -> Span:
    """Squelch open for 40 s: noise at -10 to -20 dBFS in the voice's stead, on a single pack."""
    part = take.span(40.0)
    level = float(rng.uniform(-20.0, -10.0))
    hiss = shaped(part.stop - part.start, take.rate, open_squelch, rng, level)
    take.audio[part, LONELY] = np.clip(hiss, -0.98, 0.98)
    return until(take, 40.0, LONELY)


def _hiss(level_dbfs: float, red_s: float | None) -> None:
    @harmful(f"hiss_to_{-level_dbfs:.0f}", "noise", 5.0, red_s, over_background_db=10.0)
    def hiss(take: Take, rng: Rng) -> Span:
        """The floor rises within a second and stays: noise of a weak carrier under the voice."""
        part = take.span(999.0)
        frames = part.stop - part.start
        rise = np.minimum(1.0, np.arange(frames) / take.rate).astype(np.float32)
        take.audio[part, LONELY] += rise * shaped(frames, take.rate, weak_carrier, rng, level_dbfs)
        return until(take, 999.0, LONELY)


_hiss(-45.0, None)
_hiss(-35.0, 10.0)


@harmful("range_warning", "noise", 5.0, over_background_db=10.0, seconds=80.0, at_s=30.0)
def range_warning(take: Take, rng: Rng) -> Span:
    """Hiss that grows from -75 to -45 dBFS in 40 s and flutters with the channel at a walking pace
    (600 MHz, 1.4 m/s: 2.8 Hz): above threshold it goes as the inverse of the envelope."""
    part = take.span(45.0)
    frames = part.stop - part.start
    path = fading(frames, take.rate, 2.8, rng)
    flutter = np.minimum(1.0 / np.maximum(path, 0.1), 10.0)
    growth = 10.0 ** (np.interp(np.arange(frames) / take.rate, [0.0, 40.0], [-75.0, -45.0]) / 20.0)
    hiss = shaped(frames, take.rate, weak_carrier, rng, 0.0) * flutter * growth
    take.audio[part, LONELY] += hiss.astype(np.float32)
    return until(take, 45.0, LONELY)


def repeated(piece: Audio, frames: int) -> Audio:
    """A piece over and over; shape (frames, tracks) or (frames,)."""
    return np.resize(piece, (frames, *piece.shape[1:]))


def _conceal(take: Take, rng: Rng, lengths_s: tuple[float, float], fade_db: float) -> Span:
    at_s = take.at_s
    for _ in range(5):
        start, frames = take.frame(at_s), int(rng.uniform(*lengths_s) * take.rate)
        piece = take.audio[start - round(0.005 * take.rate) : start, LONELY]
        dying = 10.0 ** (-fade_db / 20.0 * np.linspace(0.0, 1.0, frames))
        take.audio[start : start + frames, LONELY] = repeated(piece, frames) * dying
        end_s = at_s + frames / take.rate
        at_s = end_s + rng.uniform(0.6, 1.6)
    return Span((LONELY,), take.at_s, end_s)


@harmful("concealment", "dropout stuck", 1.0)
def concealment(take: Take, rng: Rng) -> Span:
    """A digital link hides lost packets: the last 5 ms again for 60 to 150 ms, five times."""
    return _conceal(take, rng, (0.06, 0.15), 0.0)


@harmful("stutter", "dropout stuck", 1.0)
def stutter(take: Take, rng: Rng) -> Span:
    """The same for 400 ms, fading by 12 dB."""
    return _conceal(take, rng, (0.4, 0.4), 12.0)


@harmful("ramped_mutes", "dropout", 1.0)
def ramped_mutes(take: Take, rng: Rng) -> Span:
    """A digital link mutes for 80 to 350 ms with edges of up to 40 ms, five times."""
    at_s = take.at_s
    for _ in range(5):
        length_s = rng.uniform(0.08, 0.35)
        start, frames = take.frame(at_s), int(length_s * take.rate)
        fade = int(rng.uniform(0.01, 0.04) * take.rate)
        quiet = 1.0 - edges(frames + 2 * fade, fade)
        take.audio[start : start + len(quiet), LONELY] *= quiet
        end_s = at_s + length_s + 2 * fade / take.rate
        at_s = end_s + rng.uniform(0.5, 1.8)
    return Span((LONELY,), take.at_s, end_s)


def _muted_behind(level_dbfs: float) -> None:
    @harmful(
        f"receiver_mute_{-level_dbfs:.0f}",
        "muted",
        0.5,
        2.0,
        chains=("direct",),
        family="receiver_mute",
    )
    def muted_behind_outputs(take: Take, rng: Rng) -> Span:
        """The receiver mutes behind its analogue output: only the converter's noise is left."""
        part = take.span(20.0)
        take.audio[part, LONELY] = white(part.stop - part.start, rng, level_dbfs)
        return until(take, 20.0, LONELY)


for _level in (-108.0, -98.0, -88.0):
    _muted_behind(_level)


@harmful("receiver_mute_16bit", "muted", 0.5, 2.0, chains=("sixteen_bit",), family="receiver_mute")
def muted_in_16_bit(take: Take, rng: Rng) -> Span:
    """Digital zero from the receiver, then 16-bit dither of the file: -93 dBFS."""
    part = take.span(20.0)
    take.audio[part, LONELY] = 0.0
    return until(take, 20.0, LONELY)


def _crackle(name: str, track: int) -> None:
    @harmful(name, "crackle", 4.0, 14.0, beside="dropout", family="crackle")
    def crackle(take: Take, rng: Rng) -> Span:
        """A contact opens for 0.5 to 20 ms one to three times a second for 40 s; with each opening
        and closing the supply steps through the coupling capacitor: a pop dying in 3 to 15 ms."""
        part = take.span(40.0)
        line = take.audio[part, track]
        t = np.arange(int(0.08 * take.rate)) / take.rate
        at = 0
        while at < len(line) - 2 * len(t):
            frames = int(10.0 ** rng.uniform(np.log10(0.0005), np.log10(0.02)) * take.rate)
            line[at : at + frames] *= 0.003
            for start in (at, at + frames):
                pop = np.exp(-t / rng.uniform(0.003, 0.015)) * (1.0 - np.exp(-t / 0.0001))
                size = 10.0 ** (rng.uniform(-22.0, -8.0) / 20.0) * rng.choice([-1.0, 1.0])
                line[start : start + len(t)] += (size * pop).astype(np.float32)
            at += frames + int(rng.exponential(0.5) * take.rate)
        np.clip(line, -0.98, 0.98, out=line)
        return until(take, 40.0, track)


_crackle("crackle_lav", LONELY)
_crackle("crackle_boom", BOOM)

Bend = Callable[[Audio], Audio]
STEPS = ("analogue", "to_44100", "asynchronous")


def ceiling_of(voice: Audio, over_db: float) -> float:
    """The ceiling that the voice's highest peaks pass by `over_db`: the peak that 20 ms windows
    reach in the loudest hundredth of them."""
    hop = 960
    peaks = np.abs(voice[: len(voice) // hop * hop]).reshape(-1, hop).max(axis=1)
    return float(np.percentile(peaks, 99.0) * 10.0 ** (-over_db / 20.0))


def overload(take: Take, over_db: float, top_dbfs: float, bend: Bend) -> Span:
    """For 30 s the first main's voice passes its pack's top by `over_db` and is bent by it; before
    and after, the talker keeps 2 dB under the top, as the safety hears too."""
    part = take.span(30.0)
    top = 10.0 ** (top_dbfs / 20.0)
    lift = np.float32(top / ceiling_of(take.audio[part, 0], over_db))
    loud = np.stack([take.audio[:, 0] * lift, take.audio[:, 1]], axis=1)
    careful = limited(loud, take.rate, top_dbfs - 2.0, linked=True)
    careful[part] = loud[part]
    take.floor[:, 0] *= lift
    take.speech[:, :2] = careful - take.floor[:, :2]  # the healthy take
    careful[part, 0] = top * bend(loud[part, 0] / top)
    take.audio[:, :2] = careful
    return until(take, 30.0, 0)


def _clipping(over_db: float, chain: str) -> None:
    @harmful(
        f"clip_{over_db:.0f}_{chain}", "clipped", 1.0, chains=(chain,), family=f"clip_{over_db:.0f}"
    )
    def clipping(take: Take, rng: Rng) -> Span:
        """The pack overloads: cut off hard before its link, at a ceiling below full scale."""
        top_dbfs = float(rng.uniform(-9.0, -2.0))
        return overload(take, over_db, top_dbfs, lambda x: np.clip(x, -1.0, 1.0))


for _over in (3.0, 6.0, 12.0):
    for _chain in STEPS:
        _clipping(_over, _chain)


@harmful("soft_knee", "clipped", 2.0)
def soft_knee(take: Take, rng: Rng) -> Span:
    """A preamplifier driven 12 dB into a soft knee (hyperbolic tangent)."""
    return overload(take, 12.0, -8.0, lambda x: np.tanh(x))


@harmful("dc_offset", "dc", 5.0, evidence="plan", chains=DIRECT_COUPLED)
def dc_offset(take: Take, rng: Rng) -> Span:
    """A leaking coupling capacitor: 0.05 to 0.1 of full scale for good, within 0.2 s."""
    part = take.span(999.0)
    frames = part.stop - part.start
    rise = 1.0 - np.exp(-np.arange(frames) / (0.05 * take.rate))
    offset = rng.uniform(0.05, 0.1) * rng.choice([-1.0, 1.0])
    take.audio[part, LONELY] += (offset * rise).astype(np.float32)
    return until(take, 999.0, LONELY)


@harmful("howl", "tone", 5.0)
def howl(take: Take, rng: Rng) -> Span:
    """Feedback: a tone at 400 to 3150 Hz that grows by 40 dB in 2 s and stands for 12 s on the mics
    near the loudspeaker."""
    part = take.span(14.0)
    frames = part.stop - part.start
    t = np.arange(frames) / take.rate
    ring = np.sin(2.0 * np.pi * rng.uniform(400.0, 3150.0) * t + rng.random())
    growth = 10.0 ** (np.minimum(0.0, 20.0 * (t - 2.0)) / 20.0) * edges(frames, take.rate // 4)
    for mic, level in ((7, -14.0), (8, -20.0), (6, -24.0)):
        take.audio[part, mic] += (ring * growth * rms_of(level) * np.sqrt(2.0)).astype(np.float32)
    return until(take, 14.0, 7, 8, 6)


@harmful("steady_tone", "tone hum", 5.0)
def steady_tone(take: Take, rng: Rng) -> Span:
    """A whistle of a power supply at 1 to 6 kHz, -40 dBFS, on one pack for 20 s."""
    part = take.span(20.0)
    t = np.arange(part.stop - part.start) / take.rate
    whistle = np.sin(2.0 * np.pi * rng.uniform(1000.0, 6000.0) * t) * rms_of(-40.0) * np.sqrt(2.0)
    take.audio[part, LONELY] += whistle.astype(np.float32)
    return until(take, 20.0, LONELY)

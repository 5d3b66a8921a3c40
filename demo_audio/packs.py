"""What a pack, its placement and its link do to the sound on its way to the recorder."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, upfirdn

from demo_audio.script import RATE_HZ, WORLD_HZ, Pack, Stretch
from demo_audio.sound_field import (
    band,
    delayed,
    drift,
    generator,
    noise,
    scaled,
    shelf,
    sine_amplitude,
)
from demo_audio.voices import Sound

UP: Final = RATE_HZ // WORLD_HZ
PAD: Final = 12
"""World frames the interpolator looks to each side."""
FLAT_RUN_FRAMES: Final = 3
DECAY_S: Final = 0.008
"""A capsule that loses its power fades this fast (time constant)."""
RETURN_S: Final = 0.3

KEYED_FRAMES: Final = WORLD_HZ // 4
"""A radio channel is open this long before and after the words."""
OPEN_CHANNEL_DBFS: Final = -50.0

RUSTLE_DB: Final = -1.0
"""Clothing against the place on the same pack."""

HUM_HZ: Final = 50.0
HUM_DBFS: Final = -37.0
HUM_LINES: Final = ((1, 1.0), (2, 0.25), (3, 0.6), (5, 0.35), (7, 0.2))
"""Line and height: the odd ones of a coil near a transformer, with some of the even ones."""

EDGE_S: Final = 0.001
"""A receiver's squelch closes and opens this fast."""

SLIPPED_DB: Final = -9.0
SLIP_S: Final = 0.4
"""A mic that slipped under a harness hears its wearer this much fainter; the place as before."""


def at_pack(air: Sound, pack: Pack, place_dbfs: float) -> NDArray[np.float32]:
    """The sound at one pack's capsule at `WORLD_HZ`, with `PAD` frames of silence either side.

    The lag is rounded to world frames (62.5 us).
    """
    voice = shelf(delayed(air, pack.lag_s), 2500.0, pack.treble_db)
    if pack.rustles:
        voice += scaled(clothing(pack), place_dbfs + RUSTLE_DB)
    out = np.zeros(len(voice) + 2 * PAD, dtype=np.float32)
    out[PAD:-PAD] = float(10.0 ** (pack.gain_db / 20.0)) * voice
    return out


def clothing(pack: Pack) -> Sound:
    """Cloth rubbing over one pack in short strokes."""
    rng = generator(20, pack.input)
    strokes = np.maximum(0.0, drift(rng, 0.11, -2.0, 1.0))
    strokes *= drift(rng, 2.3, 0.0, 1.0)
    strokes *= band(noise(rng), 200.0, 1800.0, order=2)
    return strokes


def slipped(own: Sound, fault: Stretch) -> Sound:
    """The wearer's voice on a mic that slips at the fault's onset."""
    at_s = np.arange(len(own)) / WORLD_HZ
    gone = np.clip((at_s - fault.onset_s) / SLIP_S, 0.0, 1.0)
    return np.asarray(own * (1.0 - gone * (1.0 - 10.0 ** (SLIPPED_DB / 20.0))))


def talkback(stem: Sound) -> Sound:
    """A radio voice: narrow band, with the hiss of an open channel while someone speaks."""
    spoken = np.cumsum(np.pad(stem != 0.0, KEYED_FRAMES))
    keyed = spoken[2 * KEYED_FRAMES :] > spoken[: -2 * KEYED_FRAMES]
    hiss = scaled(noise(generator(30)), OPEN_CHANNEL_DBFS)
    return band(stem + keyed * hiss, 350.0, 2900.0, order=3)


class Link:
    """One pack's way to its input, block by block at `RATE_HZ`."""

    def __init__(self, pack: Pack, capsule: NDArray[np.float32], faults: list[Stretch]) -> None:
        self._pack = pack
        self._capsule = capsule
        self._faults = faults
        self._rng = generator(10, pack.input)
        self._taps = UP * firwin(2 * UP * PAD + 1, 7600.0, window=("kaiser", 6.0), fs=RATE_HZ)
        self.flat_tops: list[int] = []
        """First and last frame of each block's flat tops."""

    def block(self, start: int, frames: int) -> Sound:
        """`frames` frames from `start` on, shape (frames,), full scale 1.0; in order only."""
        at, count = start // UP, frames // UP
        piece = self._capsule[at : at + count + 2 * PAD].astype(np.float64)
        sound = upfirdn(self._taps, piece, up=UP)[2 * UP * PAD :][:frames]
        for fault in self._faults:
            if fault.kind == "dead_mic":
                sound = sound * _power(fault, start, frames)
        hiss = self._rng.standard_normal(frames, dtype=np.float32)
        sound = sound + sine_amplitude(self._pack.hiss_dbfs) * hiss.astype(np.float64)
        for fault in self._faults:
            if fault.kind == "hum":
                sound = sound + _mains(fault, start, frames)
        sound = self._overload(sound, start)
        for fault in self._faults:
            if fault.kind == "muted":
                first, last = (round(s * RATE_HZ) - start for s in (fault.onset_s, fault.end_s))
                sound[max(0, first) : max(0, last)] = 0.0
            elif fault.kind == "dropout":
                sound = sound * _reception(fault, start, frames)
        return sound

    def _overload(self, sound: Sound, start: int) -> Sound:
        ceiling = 10.0 ** (self._pack.ceiling_dbfs / 20.0)
        over = np.abs(sound) >= ceiling
        if over.any():
            run = np.convolve(over, np.ones(FLAT_RUN_FRAMES), "valid") > FLAT_RUN_FRAMES - 0.5
            at = np.flatnonzero(run)
            if len(at):
                self.flat_tops += [start + int(at[0]), start + int(at[-1]) + FLAT_RUN_FRAMES]
        return np.clip(sound, -ceiling, ceiling)


class Patched:
    """An input on which, for a while, another pack's signal comes as well as on its own."""

    def __init__(self, own: Link, other: Link, fault: Stretch) -> None:
        self._own, self._other, self._fault = own, other, fault

    @property
    def flat_tops(self) -> list[int]:
        """As of its own pack."""
        return self._own.flat_tops

    def block(self, start: int, frames: int) -> Sound:
        """`frames` frames from `start` on, shape (frames,), full scale 1.0; in order only."""
        sound, copy = self._own.block(start, frames), self._other.block(start, frames)
        first, last = (
            min(max(0, round(s * RATE_HZ) - start), frames)
            for s in (self._fault.onset_s, self._fault.end_s)
        )
        sound[first:last] = copy[first:last]
        return sound


def _mains(fault: Stretch, start: int, frames: int) -> Sound:
    """The hum of a fault, faded in and out over 20 ms."""
    t = (start + np.arange(frames)) / RATE_HZ
    comb = sum(a * np.sin(2.0 * np.pi * HUM_HZ * n * t + n) for n, a in HUM_LINES)
    comb /= np.sqrt(0.5 * sum(a * a for _, a in HUM_LINES))
    edge = np.clip(np.minimum(t - fault.onset_s, fault.end_s - t) / 0.02, 0.0, 1.0)
    return np.asarray(sine_amplitude(HUM_DBFS) * edge * comb)


def _reception(fault: Stretch, start: int, frames: int) -> Sound:
    """0 while the receiver's squelch is closed, else 1."""
    t = (start + np.arange(frames)) / RATE_HZ
    open_ = np.ones(frames)
    for begin_s, length_s in fault.gaps:
        inside = np.minimum(t - begin_s, begin_s + length_s - t) / EDGE_S
        open_ *= 1.0 - np.clip(inside, 0.0, 1.0)
    return open_


def _power(fault: Stretch, start: int, frames: int) -> Sound:
    """How much of the sound a capsule passes on while its power is away."""
    t = (start + np.arange(frames)) / RATE_HZ
    gone = np.exp(-np.maximum(0.0, t - fault.onset_s) / DECAY_S)
    back = np.clip((t - fault.end_s) / RETURN_S, 0.0, 1.0)
    return np.maximum(gone, back)

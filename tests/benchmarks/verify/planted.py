"""What a recorder can do to a take after the split: one function an error, on a take's samples.

A `Planted` says what was done and so what is to be named; `rolling` is when the watch is said to
have rolled, so that no other part of the night is missed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import ndimage

from engine.verify.result import Difference
from engine.verify.take_coverage import Span
from tests.benchmarks.night.rig import converter_noise
from tests.benchmarks.night.sounds import Audio, gain, wander
from tests.benchmarks.night.voices import RATE
from tests.benchmarks.verify.recorded_night import MICS, NAMES

Rng = np.random.Generator
FRAMES_AN_HOUR: Final = 3600 * 25


@dataclass(frozen=True, slots=True, eq=False)
class Planted:
    """A take as the recorder wrote it, and the truth of it.

    span_s : of the session that it covers
    what, tracks : to be named, and on which inputs; empty: on none
    also : may be named as well, since it is true too
    at_s : session time of what lies inside the take; None where it has no time
    label_frames : how far its timecode is ahead
    names : of its channels, where they are not the plan's alone
    mixes : channels, from 1, that are sums of others
    """

    sound: Audio
    span_s: Span
    rolling: tuple[Span, ...]
    what: Difference | None = None
    tracks: frozenset[int] = frozenset()
    also: frozenset[Difference] = frozenset()
    at_s: float | None = None
    rate_hz: int = RATE
    label_frames: int = 0
    elsewhere: bool = False
    names: tuple[str, ...] = NAMES
    mixes: frozenset[int] = frozenset()


def not_armed(take: Planted, rng: Rng) -> Planted:
    """A channel of digital zero, or of nothing but the converter's noise."""
    column = int(rng.choice(MICS))
    sound = take.sound.copy(order="F")
    sound[:, column] = 0.0
    if rng.random() < 0.5:
        sound[:, [column]] = converter_noise(
            sound[:, [column]], rng, float(rng.uniform(-112.0, -98.0))
        )
    return _of(take, sound, Difference.NOT_RECORDED, column)


def exchanged(take: Planted, rng: Rng) -> Planted:
    """Two channels the wrong way round."""
    one, other = (int(n) for n in rng.choice(MICS, 2, replace=False))
    sound = take.sound.copy(order="F")
    sound[:, [one, other]] = sound[:, [other, one]]
    return _of(take, sound, Difference.OTHER_CHANNEL, one, other)


def moved(take: Planted, rng: Rng) -> Planted:
    """Everything one channel higher or lower; what falls off one end is lost or comes round."""
    by = int(rng.choice((-1, 1)))
    sound = np.roll(take.sound, by, axis=1)
    if rng.random() < 0.5:
        sound[:, 0 if by > 0 else -1] = 0.0
    return _of(take, sound, Difference.OTHER_CHANNEL)


def doubled(take: Planted, rng: Rng) -> Planted:
    """A mic on two channels; the one that belongs on the second is nowhere."""
    one, lost = (int(n) for n in rng.choice(MICS, 2, replace=False))
    sound = take.sound.copy(order="F")
    sound[:, lost] = sound[:, one]
    return _of(take, sound, Difference.DOUBLED, lost)


def take_missing(take: Planted, rng: Rng) -> Planted:
    """Another stretch rolled, before or after, and no take has it."""
    length_s = float(rng.uniform(20.0, 90.0))
    begin_s = take.span_s[1] + 30.0
    other = (begin_s, begin_s + length_s)
    return replace(take, rolling=(*take.rolling, other), what=Difference.NOT_TAKEN, at_s=begin_s)


def begin_missing(take: Planted, _rng: Rng) -> Planted:
    """Record was pressed 20 s late."""
    begin_s, end_s = take.span_s
    return replace(
        take,
        sound=take.sound[20 * RATE :],
        span_s=(begin_s + 20.0, end_s),
        what=Difference.NOT_TAKEN,
        at_s=begin_s,
    )


def hour_off(take: Planted, rng: Rng) -> Planted:
    """The recorder's clock on another hour."""
    frames = int(rng.choice((-1, 1))) * FRAMES_AN_HOUR
    return replace(take, what=Difference.TIMECODE, label_frames=frames)


def frames_off(take: Planted, rng: Rng) -> Planted:
    """Three frames: jammed long ago."""
    return replace(take, what=Difference.TIMECODE, label_frames=3 * int(rng.choice((-1, 1))))


def wrong_rate(take: Planted, _rng: Rng) -> Planted:
    """Recorded at 48 kHz, the header says 44.1 kHz."""
    return replace(take, what=Difference.SAMPLE_RATE, rate_hz=44_100)


def gap(take: Planted, rng: Rng) -> Planted:
    """The card was too slow for 200 ms."""
    at = int(len(take.sound) * rng.uniform(0.2, 0.8))
    sound = np.concatenate([take.sound[:at], take.sound[at + RATE // 5 :]])
    return _inside(take, sound, Difference.GAP, at)


def repeat(take: Planted, rng: Rng) -> Planted:
    """A second written twice."""
    at = int(len(take.sound) * rng.uniform(0.2, 0.8))
    sound = np.concatenate([take.sound[:at], take.sound[at - RATE :]])
    return _inside(take, sound, Difference.REPEAT, at - RATE)


def six_down(take: Planted, rng: Rng) -> Planted:
    """One trim 6 dB lower than the others."""
    column = int(rng.choice(MICS))
    sound = take.sound.copy(order="F")
    sound[:, column] *= gain(-6.0)
    return _of(take, sound, Difference.GAIN, column)


def muted(take: Planted, rng: Rng) -> Planted:
    """A channel's input muted for 6 to 20 s."""
    column = int(rng.choice(MICS))
    length = int(rng.uniform(6.0, 20.0) * RATE)
    at = int(rng.uniform(0.2, 0.7) * len(take.sound))
    sound = take.sound.copy(order="F")
    part = np.zeros((length, 1), dtype=np.float32)
    if rng.random() < 0.5:
        part = converter_noise(part, rng, float(rng.uniform(-112.0, -98.0)))
    sound[at : at + length, [column]] = part[: len(sound) - at]
    return _inside(_of(take, sound, Difference.FAULT_IN_FILE, column), sound, None, at)


def clipped(take: Planted, rng: Rng) -> Planted:
    """The recorder's input runs into its stops at the loud words of one track: at the trim as it
    should be (a hot line), or with the trim 10 dB too high."""
    column = int(rng.choice(MICS))
    sound = take.sound.copy(order="F")
    peaks = ndimage.maximum_filter1d(np.abs(sound[:, column]), RATE // 10)[:: RATE // 10]
    hot = rng.random() < 0.5
    ceiling = np.float32(np.quantile(peaks, 0.9) * gain(float(rng.uniform(-6.0, -3.0))))
    if not hot:
        sound[:, column] *= np.float32(0.98) / ceiling
        ceiling = np.float32(0.98)
    sound[:, column] = np.clip(sound[:, column], -ceiling, ceiling)
    also = frozenset() if hot else frozenset({Difference.GAIN})
    return replace(_of(take, sound, Difference.FAULT_IN_FILE, column), also=also)


def mixed(take: Planted, rng: Rng) -> Planted:
    """No error: two channels more, a mix left and right, after the tracks or before them. Three to
    all mics at levels of their own, each panned by constant power; faders ride by some dB."""
    some = rng.permutation(MICS)[: int(rng.integers(3, len(MICS) + 1))]
    mix = np.zeros((len(take.sound), 2), dtype=np.float32, order="F")
    for column in some.tolist():
        level_db = float(rng.uniform(-10.0, 0.0)) + wander(len(mix), RATE, 0.1, rng)
        fader = (10.0 ** (0.05 * level_db)).astype(np.float32)
        angle = float(rng.uniform(0.2, 0.8)) * np.pi / 2.0
        mix[:, 0] += take.sound[:, column] * fader * np.float32(np.cos(angle))
        mix[:, 1] += take.sound[:, column] * fader * np.float32(np.sin(angle))
    names, ends = ("Mix L", "Mix R"), rng.random() < 0.5
    parts = (take.sound, mix) if ends else (mix, take.sound)
    return replace(
        take,
        sound=np.asfortranarray(np.concatenate(parts, axis=1)),
        what=Difference.MIX,
        names=(*NAMES, *names) if ends else (*names, *NAMES),
        mixes=frozenset({len(NAMES) + 1, len(NAMES) + 2} if ends else {1, 2}),
    )


def other_night(take: Planted, _rng: Rng) -> Planted:
    """Another night's card: the caller puts its sound in."""
    also = frozenset({Difference.NOT_TAKEN})
    return replace(take, what=Difference.NOT_IN_SESSION, also=also, elsewhere=True)


def _of(take: Planted, sound: Audio, what: Difference, *columns: int) -> Planted:
    return replace(take, sound=sound, what=what, tracks=frozenset(n + 1 for n in columns))


def _inside(take: Planted, sound: Audio, what: Difference | None, at: int) -> Planted:
    return replace(take, sound=sound, what=what or take.what, at_s=take.span_s[0] + at / RATE)


ERRORS: Final[dict[str, Callable[[Planted, Rng], Planted]]] = {
    "not armed": not_armed,
    "exchanged": exchanged,
    "moved by one": moved,
    "doubled": doubled,
    "take missing": take_missing,
    "first 20 s missing": begin_missing,
    "timecode an hour off": hour_off,
    "timecode 3 frames off": frames_off,
    "44.1 kHz in the header": wrong_rate,
    "gap of 200 ms": gap,
    "repeat of 1 s": repeat,
    "one at -6 dB": six_down,
    "muted after the split": muted,
    "clipped after the split": clipped,
    "another night's card": other_night,
    "mix-down beside it": mixed,
}

"""Muted: digital zero, a frozen value or an idle converter (CONTRACT.md).

Checked against the `silencedetect` filter of ffmpeg (Debian), which tells samples under a level for
at least a time. That an idle converter stays below -110 dBFS is common practice, no source.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from engine.detectors.muted import Muted
from engine.model.messages import Kind, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.signals import RATES_HZ, noise, scene, sine
from tests.support.strategies import untimed
from tests.support.watching import lost, told

RATE = 8_000


def muted(
    first: int, last: int, seconds: float = 2.0, rate_hz: int = RATE, value: float = 0.0
) -> Samples:
    """Room noise with frames first..last (excluded) at one value; never that value elsewhere."""
    x = noise(-50.0, seconds, rate_hz)
    x[np.abs(x) < 1e-4] = 1e-4
    x[first:last] = value
    return x


@untimed
@given(first=st.integers(200, 6_000), length=st.integers(400, 8_000))
def test_edges_to_the_sample(first: int, length: int) -> None:
    """A mute of any place and length is told with its first and last sample."""
    last = min(first + length, 15_000)
    (span,) = told(Muted(scene(rate_hz=RATE)), muted(first, last), scene(rate_hz=RATE)).spans_s[-1:]
    assert span == (pytest.approx(first / RATE, abs=1e-9), pytest.approx(last / RATE, abs=1e-9))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_at_every_rate(rate_hz: int) -> None:
    """Edges are exact at every rate."""
    first, last = round(0.5123 * rate_hz), round(1.3777 * rate_hz)
    where = scene(rate_hz=rate_hz)
    ((onset_s, last_s),) = told(Muted(where), muted(first, last, rate_hz=rate_hz), where).spans_s
    assert onset_s == pytest.approx(first / rate_hz, abs=1e-9)
    assert last_s == pytest.approx(last / rate_hz, abs=1e-9)


def silences_by_ffmpeg(path: Path, level_db: float, least_s: float) -> list[tuple[float, float]]:
    """Begin and end, s, of every silence that ffmpeg's filter finds."""
    wanted = f"silencedetect=noise={level_db}dB:duration={least_s}"
    done = subprocess.run(
        ["ffmpeg", "-hide_banner", "-i", str(path), "-af", wanted, "-f", "null", "-"],
        capture_output=True,
        text=True,
        check=True,
    )
    begins, ends = (
        re.findall(rf"silence_{edge}: ([\d.]+)", done.stderr) for edge in ("start", "end")
    )
    return [(float(a), float(b)) for a, b in zip(begins, ends, strict=True)]


@pytest.mark.parametrize("seed", range(3))
def test_digital_zeros_are_those_that_ffmpeg_finds(seed: int, tmp_path: Path) -> None:
    """Begins and ends of digital zero are, to a sample, those of ffmpeg's silencedetect."""
    rng = np.random.default_rng(seed)
    x = muted(0, 0, seconds=20.0)
    for begin_s in (2.0, 7.0, 13.0):
        first = round((begin_s + rng.uniform(0.0, 1.0)) * RATE)
        x[first : first + round(rng.uniform(0.6, 3.0) * RATE)] = 0.0
    path = tmp_path / "take.wav"
    soundfile.write(path, x, RATE, subtype="FLOAT")
    found = silences_by_ffmpeg(path, -110.0, 0.5)
    said = told(Muted(scene(rate_hz=RATE)), x, scene(rate_hz=RATE)).spans_s
    assert len(said) == len(found) == 3
    np.testing.assert_allclose(said, found, atol=1.01 / RATE)


@pytest.mark.parametrize("value", [0.25, -1.0, 1.0, 1e-9, 1e-41])
def test_a_frozen_value_is_muted(value: float) -> None:
    """A value that never moves is muted whatever it is."""
    where = scene(rate_hz=RATE)
    assert told(Muted(where), muted(4_000, 12_000, value=value), where).spans_s == [
        (pytest.approx(0.5), pytest.approx(1.5))
    ]


@pytest.mark.parametrize(
    ("level_dbfs", "idle"), [(-112.0, True), (-110.5, True), (-109.5, False), (-105.0, False)]
)
def test_below_minus_110_dbfs_is_idle(level_dbfs: float, idle: bool) -> None:
    """Anything below -110 dBFS is an idle converter (CONTRACT.md), anything above is a signal."""
    where = scene(rate_hz=48_000)
    states = told(Muted(where), sine(level_dbfs, 1.0, 48_000), where).states
    assert states == [State.ACTIVE if idle else State.CLEAR] * 10


@pytest.mark.parametrize(
    ("level_dbfs", "words"), [(None, "digital zero or a frozen value"), (-116.0, "under −110 dBFS")]
)
def test_its_line_tells_zero_from_next_to_nothing(level_dbfs: float | None, words: str) -> None:
    """A fader that is all but down lets a little through; a receiver that mutes does not."""
    x = noise(-50.0, 4.0, RATE)
    x[2 * RATE :] = 0.0 if level_dbfs is None else noise(level_dbfs, 2.0, RATE)
    where = scene(rate_hz=RATE)
    detector = Muted(where)
    assert told(detector, x, where).spans_s
    assert detector.detail(0).startswith(words)


@pytest.mark.parametrize(("codes", "idle"), [(2, True), (3, False)])
def test_one_lsb_of_a_16_bit_converter_is_idle(codes: int, idle: bool) -> None:
    """A converter that flips between two neighbouring 16-bit codes carries no signal."""
    where = scene(rate_hz=48_000)
    steps = np.random.default_rng(2).integers(0, codes, (48_000, 1)) / 32768.0
    states = told(Muted(where), steps.astype(np.float32), where).states
    assert states == [State.ACTIVE if idle else State.CLEAR] * 10


def test_quiet_24_bit_noise_is_no_mute() -> None:
    """A preamplifier's hiss at -100 dBFS, far under a 16-bit step, is a signal."""
    where = scene(rate_hz=48_000)
    assert State.ACTIVE not in told(Muted(where), noise(-100.0, 1.0, 48_000), where).states


def test_sound_between_two_gaps_parts_them() -> None:
    """Two gaps with 50 ms of sound between them in one tick are two, each with its own onset."""
    where = scene(rate_hz=RATE)
    x = muted(4_000, 7_200)
    x[7_600:9_000] = 0.0
    assert told(Muted(where), x, where).spans_s == [
        (pytest.approx(0.5), pytest.approx(0.9)),
        (pytest.approx(0.95), pytest.approx(1.125)),
    ]


def test_a_gap_that_ends_as_another_begins_is_told_whole() -> None:
    """A long gap that ends in a tick is told to its end though a new one begins in that tick."""
    where = scene(rate_hz=RATE)
    x = muted(4_000, 8_160)
    x[8_400:9_000] = 0.0
    assert told(Muted(where), x, where).spans_s[0] == (pytest.approx(0.5), pytest.approx(1.02))


def test_lost_frames_neither_make_nor_break_a_mute() -> None:
    """A mute goes on across lost audio, and lost audio alone is none."""
    where = scene(rate_hz=RATE)
    x = muted(4_000, 12_000)
    x[6_000:7_000] = 0.0
    gap = lost(len(x), (6_000, 7_000))
    assert told(Muted(where), x, where, missing=gap).spans_s == [
        (pytest.approx(0.5), pytest.approx(1.5))
    ]
    alone = muted(0, 0)
    alone[6_000:7_000] = 0.0
    assert told(Muted(where), alone, where, missing=gap).spans_s == []


def test_an_onset_never_lies_inside_lost_audio() -> None:
    """A mute that shows right after a loss begins where audio was seen again."""
    where = scene(rate_hz=RATE)
    x = muted(5_960, 12_000)
    gap = lost(len(x), (5_900, 6_000))
    ((onset_s, _),) = told(Muted(where), x, where, missing=gap).spans_s
    assert onset_s >= 6_000 / RATE


def test_kinds_that_carry_no_sound_are_left_out() -> None:
    """Timecode and unused tracks, and a talkback whose plan says so, are never muted."""
    tracks = (
        Track(1, kind=Kind.TIMECODE),
        Track(2, kind=Kind.UNUSED),
        Track(3, kind=Kind.COMMS, kind_limits={"muted": "off"}),
        Track(4, kind=Kind.COMMS),
    )
    where = Scene(tracks, RATE)
    zero = np.zeros((RATE, 4), dtype=np.float32)
    for place, active in enumerate((False, False, False, True)):
        states = told(Muted(where), zero, where, place).states
        assert (State.ACTIVE in states) is active


def _tpdf(frames: int, seed: int) -> np.ndarray:
    """Digital silence with triangular dither of two steps, rounded to 16 bits."""
    rng = np.random.default_rng(seed)
    return np.round(rng.random(frames) - rng.random(frames)) / 32768.0


@pytest.mark.parametrize("level_dbfs", [-108.0, -98.0, -89.0, -87.0, None])
def test_a_receiver_that_mutes_behind_a_converter(level_dbfs: float | None) -> None:
    """White noise of a converter, or 16-bit dither, is told within half a second of its begin."""
    one = scene(1, 48_000)
    x = noise(-56.0, 20.0, 48_000, seed=4)
    x[:, 0] = np.convolve(x[:, 0], np.full(20, 0.2236), "same")  # a place falls with frequency
    first, last = round(14.253 * 48_000), round(18.0 * 48_000)
    rest = _tpdf(last - first, 3)
    if level_dbfs is not None:
        rest = noise(level_dbfs, 4.0, 48_000, seed=5)[: last - first, 0]
    x[first:last, 0] = rest
    said = told(Muted(one), x, one)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(14.253, abs=0.02)
    assert last_s == pytest.approx(18.0, abs=0.02)


@pytest.mark.parametrize("level_dbfs", [-85.0, -78.0])
def test_the_noise_of_a_dead_mic_is_no_mute(level_dbfs: float) -> None:
    """Electronics that are louder than a converter's are left to `dead_mic`."""
    one = scene(1, 48_000)
    x = noise(-56.0, 18.0, 48_000, seed=4)
    x[14 * 48_000 :, 0] = noise(level_dbfs, 4.0, 48_000, seed=5)[:, 0]
    assert not told(Muted(one), x, one).spans_s


def test_a_place_that_sways_is_alive_however_quiet() -> None:
    """A converter's noise keeps its level to a few tenths of a decibel; this moves by one."""
    one = scene(1, 48_000)
    x = noise(-56.0, 18.0, 48_000, seed=4)
    sway_db = 0.5 * np.where(np.arange(4 * 48_000) // 4_800 % 2 == 0, 1.0, -1.0)
    x[14 * 48_000 :, 0] = noise(-96.0, 4.0, 48_000, seed=5)[:, 0] * 10 ** (sway_db / 20)
    assert not told(Muted(one), x, one).spans_s


@pytest.mark.parametrize("by_db", [0.9, 1.0])
def test_a_place_that_moves_by_a_decibel_is_alive(by_db: float) -> None:
    """The level of white noise over 100 ms has a deviation of 0.09 dB at 48 kHz (arithmetic)."""
    one = scene(1, 48_000)
    x = noise(-56.0, 18.0, 48_000, seed=4)
    sway_db = by_db / 2.0 * np.where(np.arange(4 * 48_000) // 4_800 % 2 == 0, 1.0, -1.0)
    x[14 * 48_000 :, 0] = noise(-96.0, 4.0, 48_000, seed=5)[:, 0] * 10 ** (sway_db / 20)
    assert not told(Muted(one), x, one).spans_s


@pytest.mark.parametrize(
    ("idle_dbfs", "told_muted"), [(-80.0, True), (-84.0, False), (-66.0, False)]
)
def test_noise_as_low_as_that_of_the_unused_inputs(idle_dbfs: float, told_muted: bool) -> None:
    """An input with nothing on it shows what a converter's own noise is, unless it is loud."""
    where = Scene((Track(1), Track(2, kind=Kind.UNUSED)), 48_000)
    x = noise(-46.0, 18.0, 48_000, seed=4, tracks=2)
    x[:, 1] = noise(idle_dbfs, 18.0, 48_000, seed=6)[:, 0]
    x[14 * 48_000 :, 0] = noise(max(idle_dbfs, -80.0), 4.0, 48_000, seed=5)[:, 0]
    assert bool(told(Muted(where), x, where).spans_s) is told_muted


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
@pytest.mark.parametrize(("idle_dbfs", "over_db"), [(-84.0, 0.8), (-75.0, 1.1)])
def test_one_hop_by_chance_ends_no_mute(rate_hz: int, idle_dbfs: float, over_db: float) -> None:
    """Of white noise the level over 10 ms has a deviation of 0.3 dB (arithmetic); within that of
    the limit single hops lie over it, and the mute stands from its begin to its end."""
    where = Scene((Track(1), Track(2, kind=Kind.UNUSED)), rate_hz)
    x = noise(-46.0, 22.0, rate_hz, seed=4, tracks=2)
    x[:, 1] = noise(idle_dbfs, 22.0, rate_hz, seed=6)[:, 0]
    x[14 * rate_hz :, 0] = noise(idle_dbfs + over_db, 8.0, rate_hz, seed=5)[:, 0]
    said = told(Muted(where), x, where)
    assert len(said.spans_s) == 1
    assert said.states[144:] == [State.ACTIVE] * (len(said.states) - 144)

"""Decoding LTC: against libltc's encoder, and with all that a real line does to it.

Sources: SMPTE ST 12-1 (bits, rates), libltc 1.3.2 as the outside encoder. That noise, hum, band
limits and wow of these sizes are what a line may do is common practice, no source.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.frame_rates import CODE_RATES
from engine.timecode.ltc_decoder import LtcDecoder
from engine.timecode.ltc_encoder import ltc
from tests.references import libltc
from tests.support.strategies import cuts
from tests.support.timecode_signals import code, decoded, humming, narrow, noisy, share_right, still

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 192_000)
WORDS = tuple(CODE_RATES)
START = "09:59:58:00"
WOW = ((0.01, 0.8), (0.003, 8.0))
"""1 % at 0.8 Hz and 0.3 % at 8 Hz: a bad tape machine."""
NEEDED = 0.999
"""Of frames at 20 dB signal to noise."""
FRAMES = 300

words = pytest.mark.parametrize("word", WORDS)
rates_hz = pytest.mark.parametrize("rate_hz", RATES_HZ)


# ---- an outside encoder --------------------------------------------------------------------------


@words
@rates_hz
@pytest.mark.parametrize("speed", [0.95, 1.0, 1.05])
def test_every_frame_of_libltc_is_read(word: str, rate_hz: int, speed: float) -> None:
    """Labels, drop flag, user bits and starts of libltc's frames come back at 5 % off speed, too.

    libltc rounds half bits to whole samples and lets a filter slow its edges, so starts are right
    to 25 µs: its rounding and the middle of its rise of 40 µs.
    """
    rate = CODE_RATES[word]
    frames, bits = 60, 0xDEADBEEF
    per_s = float(rate.rate)
    sound = libltc.encode(
        (9, 59, 58, 0),
        frames,
        rate_hz,
        per_s,
        rate.labels_per_s,
        drop=rate.drop,
        user_bits=bits,
        slow=1.0 / speed,
    )
    heard = decoded(sound, rate_hz)[:frames]
    first = rate.frame(START)
    assert [f.label for f in heard] == [rate.label(first + n) for n in range(frames)]
    assert {(f.drop, f.user_bits, f.reverse) for f in heard} == {(rate.drop, bits, False)}
    length = rate_hz / per_s / speed
    off = np.array([f.start_frames - n * length for n, f in enumerate(heard)])
    assert np.abs(off).max() <= 25e-6 * rate_hz + 0.05


def test_a_day_of_drop_frame() -> None:
    """At every minute of a day the labels are libltc's, which leaves out 00 and 01 by itself.

    Source: SMPTE ST 12-1; the tens of minutes are counted through.
    """
    rate = CODE_RATES["29.97df"]
    for minute in range(1440):
        hours, minutes = divmod(minute, 60)
        sound = libltc.encode((hours, minutes, 59, 28), 4, 48_000, float(rate.rate), 30, drop=True)
        first = rate.frame(f"{hours:02}:{minutes:02}:59;28")
        heard = [f.label for f in decoded(sound, 48_000)]
        assert heard[:4] == [rate.label(first + n) for n in range(4)]


# ---- what a line does ----------------------------------------------------------------------------


@words
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 192_000])
@pytest.mark.parametrize("speed", [0.95, 1.05])
def test_noise_at_any_speed(word: str, rate_hz: int, speed: float) -> None:
    """At 20 dB signal to noise at least 99.9 % of frames are right, 5 % slow or fast."""
    sound = noisy(code(word, START, FRAMES, rate_hz, speed=speed), 20.0)
    assert share_right(decoded(sound, rate_hz), word, START, FRAMES) >= NEEDED


@words
@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
@pytest.mark.parametrize("hum_hz", [50.0, 60.0])
def test_hum_as_loud_as_the_code(word: str, rate_hz: int, hum_hz: float) -> None:
    """Mains hum with harmonics, as loud as the code itself, costs no frame at 20 dB."""
    sound = humming(noisy(code(word, START, FRAMES, rate_hz), 20.0), rate_hz, 0.0, hum_hz)
    assert share_right(decoded(sound, rate_hz), word, START, FRAMES) >= NEEDED


@words
@pytest.mark.parametrize("rate_hz", [48_000, 192_000])
@pytest.mark.parametrize("band_hz", [(100.0, 5000.0), (100.0, 2500.0)])
def test_a_narrow_line(word: str, rate_hz: int, band_hz: tuple[float, float]) -> None:
    """Through a line of 100 Hz to 2.5 kHz, where the ones are nearly sines, all comes back."""
    sound = noisy(narrow(code(word, START, FRAMES, rate_hz), rate_hz, *band_hz), 20.0)
    assert share_right(decoded(sound, rate_hz), word, START, FRAMES) >= NEEDED


@words
def test_a_telephone_line(word: str) -> None:
    """300 Hz to 3.4 kHz costs the first frame at most, while the high-pass settles."""
    frames = 1200
    sound = noisy(narrow(code(word, START, frames, 48_000), 48_000, 300.0, 3400.0), 20.0)
    assert share_right(decoded(sound, 48_000), word, START, frames) >= NEEDED


@words
def test_wow_and_flutter(word: str) -> None:
    """Speed that swings by 1.3 % costs nothing at 20 dB."""
    sound = noisy(code(word, START, FRAMES, 48_000, wow=WOW), 20.0)
    assert share_right(decoded(sound, 48_000), word, START, FRAMES) >= NEEDED


@pytest.mark.parametrize("word", ["23.976", "25", "30"])
def test_all_at_once_very_low(word: str) -> None:
    """At -40 dBFS with hum, wow, a narrow line and noise 20 dB down it is still read."""
    sound = code(word, START, FRAMES, 48_000, wow=WOW, level_dbfs=-40.0)
    sound = humming(noisy(narrow(sound, 48_000, 100.0, 5000.0), 20.0), 48_000, 10.0)
    assert share_right(decoded(sound, 48_000), word, START, FRAMES) >= NEEDED


@pytest.mark.parametrize("level_dbfs", [0.0, -10.0, -20.0, -30.0, -40.0])
def test_level_and_polarity_do_not_matter(level_dbfs: float) -> None:
    """At any level and in either polarity, with DC on it too, the same frames come.

    Nothing is asked of the first two, which come out of silence with a step.
    """
    sound = code("25", START, 50, 48_000, level_dbfs=level_dbfs, user_bits=0x1234)
    plain, inverted, shifted = (
        [
            (f.label, f.user_bits, round(f.start_frames, 1))
            for f in decoded(x, 48_000)
            if f.start_frames > 3000
        ]
        for x in (sound, -sound, sound + np.float32(0.1))
    )
    assert plain == inverted == shifted
    assert len(plain) == 47


@words
@pytest.mark.parametrize("rate_hz", [44_100, 192_000])
@pytest.mark.parametrize("level_dbfs", [0.0, -40.0])
def test_both_ends_of_the_level_at_every_rate(word: str, rate_hz: int, level_dbfs: float) -> None:
    """Full scale (its noise clipped) and -40 dBFS, either polarity, at 20 dB signal to noise."""
    sound = noisy(code(word, START, FRAMES, rate_hz, level_dbfs=level_dbfs), 20.0).clip(-1.0, 1.0)
    for heard in (sound, -sound):
        assert share_right(decoded(heard, rate_hz), word, START, FRAMES) >= NEEDED


def test_sixteen_bits_at_the_lowest_level() -> None:
    """Rounded to 16 bits at -40 dBFS every frame is there."""
    sound = code("25", START, 50, 48_000, level_dbfs=-40.0)
    rounded = (np.round(sound * 32768.0) / 32768.0).astype(np.float32)
    assert len(decoded(rounded, 48_000)) == 49


# ---- where, which way, and what is no code -------------------------------------------------------


@words
@rates_hz
def test_frames_start_where_they_were_put(word: str, rate_hz: int) -> None:
    """Starts and lengths are right to a fiftieth of a sample, at 20 dB to 8 µs."""
    rate = CODE_RATES[word]
    sound = ltc(rate, 0, 40, rate_hz)
    length = rate_hz / float(rate.rate)
    for heard, within in ((sound, 0.02), (noisy(sound, 20.0), 8e-6 * rate_hz)):
        frames = decoded(heard, rate_hz)[1:]
        assert len(frames) >= 38
        for frame in frames:
            n = rate.frame(frame.label)
            assert frame.start_frames == pytest.approx(n * length, abs=within)
            assert frame.length_frames == pytest.approx(length, abs=2 * within)


def test_code_played_backwards() -> None:
    """Backwards the labels fall, each marked, with its user bits; forwards none is."""
    sound = code("25", START, 60, 48_000, user_bits=0xCAFE)[::-1].copy()
    frames = decoded(sound, 48_000)
    rate = CODE_RATES["25"]
    numbers = [rate.frame(f.label) for f in frames]
    assert len(numbers) >= 58
    assert all(a - b == 1 for a, b in pairwise(numbers))
    assert {(f.reverse, f.user_bits) for f in frames} == {(True, 0xCAFE)}
    for n, frame in list(zip(numbers, frames, strict=True))[1:]:
        end = (n - rate.frame(START) + 1) * 1920
        assert frame.start_frames == pytest.approx(len(sound) - 1 - end, abs=0.05)


def test_one_label_again_and_again_is_read_each_time() -> None:
    """Code that stands still is code: each frame is there."""
    assert [f.label for f in decoded(still("25", START, 20, 48_000), 48_000)] == [START] * 19


@pytest.mark.parametrize("level", [0.0, 1e-4, 0.1, 1.0])
def test_noise_is_no_code(level: float) -> None:
    """Thirty seconds of silence or noise hold no frame."""
    noise = np.random.default_rng(5).normal(0.0, 1.0, 30 * 48_000) * level
    assert decoded(noise.astype(np.float32), 48_000) == []


def test_a_damaged_frame_is_left_out() -> None:
    """Five lost milliseconds cost the frames they lie in, and no other."""
    sound = code("25", START, 20, 48_000)
    sound[10_000:10_240] = 0.0
    heard = {f.label for f in decoded(sound, 48_000)}
    rate = CODE_RATES["25"]
    lost = {n for n in range(19) if rate.label(rate.frame(START) + n) not in heard}
    assert lost == {5}


def test_lost_frames_are_counted() -> None:
    """After a gap that was not heard, positions are those of the stream."""
    decoder = LtcDecoder(48_000)
    sound = code("25", START, 50, 48_000)
    first = decoder.update(sound[:48_000])
    decoder.skip(24_000)
    second = decoder.update(sound[72_000:])
    for frame in (*first, *second):
        n = CODE_RATES["25"].frame(frame.label) - CODE_RATES["25"].frame(START)
        assert frame.start_frames == pytest.approx(n * 1920, abs=0.02)
    assert len(first) > 20
    assert len(second) >= 9


# ---- properties ----------------------------------------------------------------------------------

SOUND = noisy(code("29.97df", "00:09:59;20", 20, 48_000, user_bits=0xA5A5), 20.0)
WHOLE = decoded(SOUND, 48_000)


@settings(max_examples=25, deadline=None)
@given(places=cuts(len(SOUND)))
def test_blocks_of_any_length_give_the_same(places: list[int]) -> None:
    """However the sound is cut, the very same frames come, to the last bit of their places."""
    decoder, heard = LtcDecoder(48_000), []
    for a, b in pairwise([*places, len(SOUND)]):
        heard += decoder.update(SOUND[a:b])
    heard += decoder.update(np.zeros(9_600, dtype=np.float32))
    assert heard == WHOLE


@pytest.mark.parametrize("block", [1, 479, 4801])
def test_even_blocks_give_the_same(block: int) -> None:
    """Blocks of one length, down to a single sample, give the very same frames."""
    assert decoded(SOUND[:14_400], 48_000, block) == decoded(SOUND[:14_400], 48_000)


@settings(max_examples=40, deadline=None)
@given(
    word=st.sampled_from(WORDS),
    number=st.integers(0, 2_589_407),
    user_bits=st.integers(0, 2**32 - 1),
    rate_hz=st.sampled_from([44_100, 48_000]),
    speed=st.floats(0.95, 1.05),
)
def test_what_is_encoded_is_decoded(
    word: str, number: int, user_bits: int, rate_hz: int, speed: float
) -> None:
    """Any label of any rate with any user bits comes back, however fast."""
    rate = CODE_RATES[word]
    number %= rate.frames_per_day
    sound = ltc(rate, number, 4, rate_hz, user_bits=user_bits, speed=speed)
    heard = [(f.label, f.user_bits, f.drop) for f in decoded(sound, rate_hz)]
    assert heard == [(rate.label(number + n), user_bits, rate.drop) for n in range(3)]


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), gain=st.sampled_from([1e-3, 0.1, 1.0, 1e3]))
def test_any_sound_is_taken(seed: int, gain: float) -> None:
    """Steps, noise and constants of any size raise nothing and alter nothing."""
    rng = np.random.default_rng(seed)
    sound = (rng.choice([0.0, 1.0, -1.0], 9_600) * rng.random(9_600) * gain).astype(np.float32)
    sound[2000:5000] = gain
    before = sound.tobytes()
    LtcDecoder(48_000).update(sound)
    assert sound.tobytes() == before

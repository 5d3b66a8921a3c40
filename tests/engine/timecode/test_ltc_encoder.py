"""Encoding LTC: against libltc's decoder and the rules of SMPTE ST 12-1."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.frame_rates import CODE_RATES
from engine.timecode.ltc_encoder import SYNC, code_word, ltc, waveform
from tests.references import libltc


@pytest.mark.parametrize("word", CODE_RATES)
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("speed", [0.95, 1.0, 1.05])
def test_libltc_reads_every_frame(word: str, rate_hz: int, speed: float) -> None:
    """libltc 1.3.2 reads our labels, drop flag and user bits, and places them to the bit.

    Its header calls its places approximate, so no more than half a bit is asked for.
    """
    rate = CODE_RATES[word]
    first, frames = rate.frame("01:09:58:10"), 60
    sound = ltc(rate, first, frames, rate_hz, user_bits=0x12345678, speed=speed)
    heard = libltc.decode(sound, rate_hz, rate.labels_per_s)
    assert len(heard) >= frames - 2
    length = rate_hz / float(rate.rate) / speed
    for frame in heard:
        label = ":".join(f"{part:02}" for part in frame.fields)
        n = rate.frame(label) - first
        assert 0 <= n < frames
        assert (frame.drop, frame.user_bits, frame.reverse) == (rate.drop, 0x12345678, False)
        assert frame.start == pytest.approx(n * length, abs=0.5 * length / 80)


@given(
    word=st.sampled_from(list(CODE_RATES)),
    number=st.integers(0, 3_000_000),
    user_bits=st.integers(0, 2**32 - 1),
)
def test_each_frame_has_an_even_number_of_zeros(word: str, number: int, user_bits: int) -> None:
    """The polarity correction bit sees to it (SMPTE ST 12-1), so each frame begins alike."""
    rate = CODE_RATES[word]
    bits = code_word(rate, number % rate.frames_per_day, user_bits)
    assert bits.shape == (80,)
    assert np.count_nonzero(bits == 0) % 2 == 0
    assert tuple(bits[64:]) == SYNC


def test_bits_are_where_the_standard_has_them() -> None:
    """21:43:56;18 with user bits 1 to 8, bit by bit (SMPTE ST 12-1, low bit first)."""
    bits = code_word(CODE_RATES["29.97df"], CODE_RATES["29.97df"].frame("21:43:56;18"), 0x87654321)

    def number(first: int, width: int) -> int:
        return sum(int(bits[first + n]) << n for n in range(width))

    fields = ((0, 4), (8, 2), (16, 4), (24, 3), (32, 4), (40, 3), (48, 4), (56, 2))
    assert [number(*field) for field in fields] == [8, 1, 6, 5, 3, 4, 1, 2]
    assert [number(first, 4) for first in range(4, 64, 8)] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert bits[10] == 1, "drop-frame flag"
    assert bits[11] == bits[58] == 0, "colour-frame flag, BGF1"


def test_edges_take_40_microseconds() -> None:
    """From 10 to 90 % of its swing an edge takes 40 ± 10 µs (SMPTE ST 12-1)."""
    rate_hz = 4_800_000
    words = code_word(CODE_RATES["25"], 0)[None]
    sound = waveform(words, np.array([0.0, rate_hz / 25]), rate_hz // 25, rate_hz)
    edge = sound[2300:2500]  # the first bit is a zero of 2400 samples
    between = np.count_nonzero(np.abs(edge) < 0.8)
    assert between / rate_hz == pytest.approx(40e-6, abs=1e-6)


def test_level_is_the_peak() -> None:
    """The peak is the level asked for, in dBFS."""
    sound = ltc(CODE_RATES["25"], 0, 2, 48_000, level_dbfs=-18.0)
    assert 20.0 * np.log10(np.abs(sound).max()) == pytest.approx(-18.0, abs=1e-4)

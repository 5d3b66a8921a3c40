"""Every sample of a file as it was stored; a damaged file is refused in one line."""

from __future__ import annotations

import contextlib
import struct

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.sources.base import SourceError
from tests.support.read_takes import AUDIO, RATE_HZ, noise, refused, whole
from tests.support.wav_files import bext, chunk, fmt, ixml, track_list, wav

STORED = [
    *[("WAV", kind) for kind in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")],
    *[("WAVEX", kind) for kind in ("PCM_16", "PCM_24", "PCM_32", "FLOAT")],
    *[("RF64", kind) for kind in ("PCM_16", "PCM_24", "FLOAT")],
    *[("FLAC", kind) for kind in ("PCM_16", "PCM_24")],
]


@pytest.mark.parametrize(("container", "kind"), STORED)
@pytest.mark.parametrize("channels", [1, 2, 7])
def test_every_depth_reads_as_libsndfile_reads_it(tmp_path, container, kind, channels):
    """Each format comes out as the reference library libsndfile decodes it, bit for bit."""
    path = tmp_path / "take.wav"
    soundfile.write(path, noise(10_001, channels), RATE_HZ, subtype=kind, format=container)
    expected, _ = soundfile.read(path, dtype="float32", always_2d=True)
    np.testing.assert_array_equal(whole(path), expected)


def test_full_scale_codes_keep_their_value(tmp_path):
    """The lowest 24-bit code is −1.0, the highest one code short of 1.0: common practice."""
    codes = (-(2**23), 2**23 - 1, 0, 1, -1)
    packed = b"".join(struct.pack("<i", code)[:3] for code in codes)
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(1, bits=24), chunk(b"data", packed)))
    np.testing.assert_array_equal(whole(path)[:, 0] * 2.0**23, codes)


def test_float_samples_out_of_range_pass_unaltered(tmp_path):
    """NaN, infinity and values over full scale reach the meter as they are."""
    values = np.array([np.nan, np.inf, -np.inf, 3.5, 1e-40], dtype="<f4")
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(1, bits=32, tag=3), chunk(b"data", values.tobytes())))
    np.testing.assert_array_equal(whole(path)[:, 0], values)


DAMAGED = {
    "empty": b"",
    "text renamed": b"Scene 1: they talk\n" * 100,
    "no format": wav(chunk(b"data", AUDIO)),
    "no audio chunk": wav(fmt()),
    "zero frames": wav(fmt(), chunk(b"data", b"")),
    "half a frame": wav(fmt(), chunk(b"data", b"\0\0")),
    "zero channels": wav(fmt(0), chunk(b"data", AUDIO)),
    "513 channels": wav(fmt(513, bits=8), chunk(b"data", AUDIO)),
    "65535 channels": wav(fmt(65_535, bits=8), chunk(b"data", AUDIO)),
    "zero rate": wav(fmt(rate_hz=0), chunk(b"data", AUDIO)),
    "4 GHz": wav(fmt(rate_hz=0xFFFFFFF0), chunk(b"data", AUDIO)),
    "zero bits": wav(fmt(bits=0), chunk(b"data", AUDIO)),
    "compressed": wav(fmt(tag=2), chunk(b"data", AUDIO)),
    "4 GB claimed": wav(fmt(), chunk(b"data", AUDIO, 0xFFFFFFF0)),
    "unset audio size only": wav(fmt(), chunk(b"data", AUDIO, 0xFFFFFFFF)),
    "audio size too small": wav(fmt(), chunk(b"data", AUDIO, 4_000)),
    "audio size zero": wav(fmt(), chunk(b"data", AUDIO, 0)),
    "format size huge": wav(fmt()[:4] + b"\xf0\xff\xff\xff" + fmt()[8:], chunk(b"data", AUDIO)),
    "cut short": wav(fmt(), chunk(b"data", AUDIO))[:-1000],
    "flac garbage": b"fLaC" + bytes(range(256)),
    "rf64 claims": wav(
        chunk(b"ds64", struct.pack("<QQQI", 1 << 62, 1 << 62, 1 << 62, 0xFFFFFFFF)),
        fmt(),
        chunk(b"data", AUDIO, 0xFFFFFFFF),
        name=b"RF64",
        stated=0xFFFFFFFF,
    ),
}


@pytest.mark.parametrize("damage", DAMAGED)
def test_a_damaged_file_is_refused_in_one_line(tmp_path, damage):
    """Each kind of damage is one SourceError that names the file."""
    path = tmp_path / "take.wav"
    path.write_bytes(DAMAGED[damage])
    refused(path)


def test_a_file_cut_at_any_byte_of_its_header_is_refused(tmp_path):
    """A header cut off anywhere is refused, whichever byte is the last."""
    path = tmp_path / "take.wav"
    content = wav(bext(0), fmt(), chunk(b"data", AUDIO))
    for length in range(content.index(b"data") + 11):
        path.write_bytes(content[:length])
        refused(path)


@pytest.mark.parametrize("keep", [0.02, 0.5, 0.99])
def test_a_flac_cut_short_is_refused_before_it_is_read(tmp_path, keep):
    """A FLAC that lacks its end is found out when it is opened."""
    path = tmp_path / "take.flac"
    soundfile.write(path, noise(200_000, 2), RATE_HZ, "PCM_16")
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * keep)])
    refused(path)


@pytest.mark.parametrize("rate_hz", [1, 33, 7_999, 768_001, 998_468])
def test_a_flac_at_a_rate_no_recorder_has_is_refused(tmp_path, rate_hz):
    """The same bounds as for WAV; STREAMINFO holds the rate in 20 bits (RFC 9639, 8.2)."""
    path = tmp_path / "take.flac"
    soundfile.write(path, noise(2_000, 2), RATE_HZ, "PCM_16")
    content = bytearray(path.read_bytes())
    packed = int.from_bytes(content[18:21], "big")
    assert packed >> 4 == RATE_HZ
    content[18:21] = (rate_hz << 4 | packed & 15).to_bytes(3, "big")
    path.write_bytes(content)
    assert f"{rate_hz} Hz" in refused(path)


def test_no_other_decoder_ever_meets_a_flac(tmp_path, capfd):
    """What is left of a FLAC is refused whatever its name: no library guesses by that."""
    path = tmp_path / "take.mp3"
    soundfile.write(tmp_path / "take.flac", noise(2_000, 2), RATE_HZ, "PCM_16")
    content = (tmp_path / "take.flac").read_bytes()
    for length in range(4, 64):
        path.write_bytes(content[:length])
        refused(path)
    assert capfd.readouterr() == ("", "")


NAMES = ixml(track_list((1, "A"), (2, "B")))
PLAIN = wav(bext(48_000), NAMES, fmt(), chunk(b"data", AUDIO[:4_000]))
TARGET = wav(
    chunk(b"ds64", struct.pack("<QQQI", 0, 4_000, 1_000, 0)),
    bext(48_000),
    fmt(),
    chunk(b"data", AUDIO[:4_000], 0xFFFFFFFF),
    NAMES,
    name=b"RF64",
    stated=0xFFFFFFFF,
)


@settings(
    max_examples=400, deadline=2_000, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    changes=st.lists(st.tuples(st.integers(0, len(TARGET) - 1), st.integers(0, 255)), max_size=12),
    length=st.one_of(st.none(), st.integers(0, len(TARGET))),
    plain=st.booleans(),
)
def test_no_mutation_of_a_file_does_more_than_refuse_it(tmp_path, changes, length, plain):
    """Whatever bytes change, a take is read or refused: no other error, no hang, no huge memory."""
    content = bytearray(PLAIN if plain else TARGET)
    for place, value in changes:
        content[place % len(content)] = value
    path = tmp_path / "take.wav"
    path.write_bytes(content[:length])
    with contextlib.suppress(SourceError):
        assert whole(path).size <= 4 * len(content)


@settings(
    max_examples=150, deadline=2_000, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(place=st.floats(0, 1), bit=st.integers(0, 7))
def test_a_flac_with_one_wrong_bit_is_never_heard_as_other_audio(tmp_path, place, bit):
    """One bit flipped anywhere: the very same samples come, or the file is refused or fails."""
    sound, path = noise(20_000, 2), tmp_path / "take.flac"
    if not path.exists():
        soundfile.write(path, sound, RATE_HZ, "PCM_16")
        (tmp_path / "whole.flac").write_bytes(path.read_bytes())
    content = bytearray((tmp_path / "whole.flac").read_bytes())
    # From the first frame on; the tags before it hold no audio.
    first = content.index(b"\xff\xf8")
    content[first + int(place * (len(content) - first - 1))] ^= 1 << bit
    path.write_bytes(content)
    with contextlib.suppress(SourceError):
        np.testing.assert_allclose(whole(path, block_frames=3_000), sound, atol=2.0**-15)

"""A take is read sample for sample, in any cut, and a damaged one is refused in one line."""

from __future__ import annotations

import contextlib
import os
import struct
import subprocess
import sys
import threading

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.sources.base import EndOfTake, SourceError
from engine.sources.take import open_take
from tests.support.wav_files import bext, chunk, fmt, ixml, pcm16, track_list, wav

RATE_HZ = 48_000


def whole(path, **how) -> np.ndarray:
    """Every sample of a take."""
    source = open_take(path, **how)
    blocks = []
    try:
        while True:
            block = source.read(5.0)
            assert block is not None
            assert block.lost_frames == 0
            assert block.samples.dtype == np.float32
            assert block.samples.T.flags.c_contiguous
            blocks.append(block.samples)
    except EndOfTake:
        return np.concatenate(blocks)
    finally:
        source.close()


def refused(path) -> str:
    """The line a take is refused with."""
    with pytest.raises(SourceError) as caught:
        open_take(path)
    line = str(caught.value)
    assert "\n" not in line
    assert str(path) in line
    return line


def noise(frames: int, channels: int) -> np.ndarray:
    """Noise at half scale, shape (frames, channels)."""
    return np.random.default_rng(1).uniform(-0.5, 0.5, (frames, channels))


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


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(block=st.integers(1, 30_000), start=st.integers(0, 9_999), ahead=st.sampled_from([0, 1, 3]))
@pytest.mark.parametrize("container", ["WAV", "FLAC"])
def test_the_block_size_does_not_change_the_samples(tmp_path, container, block, start, ahead):
    """Any block size, any start and any read-ahead give the same samples."""
    path = tmp_path / "take.wav"
    if not path.exists():
        soundfile.write(path, noise(10_000, 3), RATE_HZ, subtype="PCM_24", format=container)
    expected, _ = soundfile.read(path, dtype="float32")
    block = max(block, 100)  # smaller ones only cost time
    got = whole(path, from_s=start / RATE_HZ, block_frames=block, read_ahead=ahead)
    np.testing.assert_array_equal(got, expected[start:])


@pytest.mark.parametrize("container", ["WAV", "FLAC"])
def test_a_folder_of_mono_files_is_one_take_in_name_order(tmp_path, container):
    """Tracks run in name order; dotfiles, sidecars and subfolders are left alone."""
    tracks = noise(5_000, 3)
    suffix = container.lower()
    for name, place in (("b", 1), ("a", 0), ("c", 2)):
        soundfile.write(
            tmp_path / f"{name}.{suffix}", tracks[:, place], RATE_HZ, "PCM_24", format=container
        )
    for sidecar in ("plan.toml", "notes.txt", "report.json", f"._a.{suffix}", ".DS_Store"):
        (tmp_path / sidecar).write_text("not audio")
    (tmp_path / "more.wav").mkdir()
    got = whole(tmp_path)
    assert got.shape == (5_000, 3)
    np.testing.assert_allclose(got, tracks, atol=2.0**-23)


@pytest.mark.parametrize(
    ("second", "word"),
    [
        (wav(fmt(1), chunk(b"data", pcm16(11, 1).tobytes())), "one length"),
        (wav(fmt(1, rate_hz=44_100), chunk(b"data", pcm16(10, 1).tobytes())), "44100 Hz"),
        (wav(fmt(2), chunk(b"data", pcm16(10, 2).tobytes())), "mono"),
        (b"plain text", "no WAV or FLAC"),
    ],
)
def test_a_folder_of_unequal_files_is_refused(tmp_path, second, word):
    """Unequal length or rate, a file of several channels and text renamed are each named."""
    (tmp_path / "a.wav").write_bytes(wav(fmt(1), chunk(b"data", pcm16(10, 1).tobytes())))
    (tmp_path / "b.wav").write_bytes(second)
    with pytest.raises(SourceError, match=word) as caught:
        open_take(tmp_path)
    assert str(tmp_path / "b.wav") in str(caught.value)


def test_a_folder_of_many_takes_is_refused(tmp_path):
    """More files than any take has tracks, and more than any folder needs: what to do is said."""
    (tmp_path / "000.wav").write_bytes(wav(fmt(1), chunk(b"data", pcm16(10, 1).tobytes())))
    for number in range(1, 513):
        (tmp_path / f"{number:03}.wav").hardlink_to(tmp_path / "000.wav")
    assert "513 WAV" in refused(tmp_path)
    for number in range(513, 4_097):
        (tmp_path / f"{number:03}.wav").touch()
    assert "4097 WAV" in refused(tmp_path)


def test_a_folder_with_other_audio_or_none_is_refused(tmp_path):
    """Audio we can't read is never dropped in silence, and an empty folder is no take."""
    assert "holds no WAV" in refused(tmp_path)
    (tmp_path / "a.wav").write_bytes(wav(fmt(1), chunk(b"data", pcm16(10, 1).tobytes())))
    (tmp_path / "b.mp3").write_bytes(b"")
    with pytest.raises(SourceError, match=r"b\.mp3"):
        open_take(tmp_path)


def test_names_time_and_frame_rate_come_from_the_file(tmp_path):
    """Track names, time reference, frame rate, scene and take are read, after the audio too."""
    path = tmp_path / "take.wav"
    about = track_list((2, "Ringer"), (1, "Beam &amp; line"))
    about += "<SCENE>12A</SCENE><TAKE>3</TAKE><SPEED><TIMECODE_RATE>30000/1001</TIMECODE_RATE>"
    about += "<TIMECODE_FLAG>DF</TIMECODE_FLAG></SPEED>"
    samples = chunk(b"data", pcm16(10).tobytes())
    path.write_bytes(wav(bext(48_000 * 3600), fmt(), samples, ixml(about)))
    source = open_take(path)
    source.close()
    info = source.info
    assert info.channel_names == ("Beam & line", "Ringer")
    assert (info.start_samples, info.start_s) == (48_000 * 3600, 3600.0)
    assert info.frame_rate == "29.97df"
    assert info.fields["scene"] == "12A"
    assert info.fields["take"] == "3"
    assert (info.frames, info.channels, info.live) == (10, 2, False)


AUDIO = pcm16(96_000).tobytes()


@pytest.mark.parametrize(
    ("riff_size", "data_size"), [(0, 0), (0xFFFFFFFF, 0xFFFFFFFF), (36, 0), (36 + 4_000, 4_000)]
)
def test_a_take_its_recorder_never_finished_is_read_as_far_as_it_goes(
    tmp_path, riff_size, data_size
):
    """Sizes unset or stale (crashed, or still recording): all on disk is read, with a notice."""
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(), chunk(b"data", AUDIO, data_size), stated=riff_size))
    source = open_take(path)
    source.close()
    assert "never finished" in source.info.notices[0]
    np.testing.assert_array_equal(whole(path) * 2.0**15, pcm16(96_000))


def test_an_unfinished_rf64_is_read_as_far_as_it_goes(tmp_path):
    """RF64 with a ds64 chunk still at zero counts as unfinished: common practice, no source."""
    path = tmp_path / "take.wav"
    data = chunk(b"data", AUDIO, 0xFFFFFFFF)
    ds64 = chunk(b"ds64", struct.pack("<QQQI", 0, 0, 0, 0))
    path.write_bytes(wav(ds64, fmt(), data, name=b"RF64", stated=0xFFFFFFFF))
    np.testing.assert_array_equal(whole(path) * 2.0**15, pcm16(96_000))


@pytest.mark.parametrize("container", ["never", "always"])
def test_a_time_reference_that_another_writer_wrote(tmp_path, container):
    """The bext chunk of a WAV and of an RF64 by ffmpeg: start and samples are as written."""
    path, reference = tmp_path / "take.wav", 21 * 3600 * RATE_HZ + 480
    soundfile.write(tmp_path / "plain.wav", noise(4_800, 2), RATE_HZ, subtype="PCM_24")
    made = f"-c copy -write_bext 1 -rf64 {container} -metadata time_reference={reference}".split()
    plain = tmp_path / "plain.wav"
    subprocess.run(["ffmpeg", "-v", "error", "-i", plain, *made, path], check=True)
    source = open_take(path)
    source.close()
    assert source.info.start_samples == reference
    np.testing.assert_array_equal(whole(path), whole(tmp_path / "plain.wav"))


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


def test_what_is_no_file_is_refused(tmp_path):
    """A missing path and a pipe, which would block for ever, are refused at once."""
    assert "no such file" in refused(tmp_path / "absent.wav")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.wav")
        assert "is no file" in refused(tmp_path / "pipe.wav")


def test_a_start_outside_the_take_is_refused(tmp_path):
    """`from_s` at or past the end, or negative, is refused with the take's length."""
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(), chunk(b"data", AUDIO)))
    for start in (2.0, -0.1):
        with pytest.raises(SourceError, match=r"it lasts 2\.0 s"):
            open_take(path, from_s=start)


def test_a_file_that_shrinks_while_it_is_read_fails_and_stays_failed(tmp_path):
    """Audio that goes away in mid-take is a SourceError at the place where it ends."""
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(), chunk(b"data", AUDIO)))
    source = open_take(path, block_frames=48_000, read_ahead=0)
    source.read(1.0)
    os.truncate(path, 250_000)
    for _ in range(2):
        with pytest.raises(SourceError, match=r"can't be read past 1\.\d s"):
            source.read(1.0)
    source.close()


def test_closing_in_mid_take_leaves_no_thread(tmp_path):
    """A take may be closed at any time, twice, and its reading thread ends."""
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(), chunk(b"data", AUDIO)))
    before = threading.active_count()
    source = open_take(path, block_frames=100)
    source.read(1.0)
    source.close()
    source.close()
    assert threading.active_count() == before


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


MEMORY_PROBE = """
import re, sys
from engine.sources.take import open_take
from engine.sources.base import EndOfTake
def peak_kib():  # of this program alone; ru_maxrss still holds the peak of who started it
    return int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1])
source = open_take(sys.argv[1])
frames, early = 0, 0
try:
    while True:
        frames += len(source.read(30.0).samples)
        early = early or (frames > 800_000 and peak_kib())
except EndOfTake:
    source.close()
print(frames, early, peak_kib())
"""


@pytest.mark.skipif(sys.platform != "linux", reason="needs sparse files and /proc")
def test_two_hours_of_twelve_tracks_take_no_more_memory_than_the_first_minutes(tmp_path):
    """Peak memory after two hours of 12 tracks is that after 100 s, within 4 MiB."""
    rate_hz = 8_000  # memory goes by frames in flight, not by rate; 48 kHz would read 12 GB
    frames = 2 * 3600 * rate_hz
    size = frames * 12 * 2
    head = wav(fmt(12, rate_hz), stated=36 + size) + b"data" + struct.pack("<I", size)
    path = tmp_path / "two_hours.wav"
    path.write_bytes(head)
    os.truncate(path, len(head) + size)
    out = subprocess.run(
        [sys.executable, "-c", MEMORY_PROBE, str(path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    read, early_kib, peak_kib = map(int, out.stdout.split())
    assert read == frames
    assert peak_kib - early_kib < 4 * 1024
    assert peak_kib < 150 * 1024

"""A take is read sample for sample, in any cut, and a damaged one is refused in one line."""

from __future__ import annotations

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

from engine.sources.base import SourceError
from engine.sources.take import open_take
from tests.support.read_takes import AUDIO, RATE_HZ, noise, refused, whole
from tests.support.wav_files import bext, chunk, fmt, ixml, pcm16, track_list, wav


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

"""A take that is still being written: its sound as it comes, its end, and a writer that stops."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from engine.runtime.input_supervisor import STALL_S
from engine.sources.base import EndOfTake, SourceError
from engine.sources.growing import BEHIND_S, FINISHED_S, GrowingTake
from tests.support.wav_files import chunk, fmt, pcm16, wav

RATE = 8_000
Opened = Callable[[Path], GrowingTake]


class Time:
    """A clock that sleeping moves on; `each_step` happens on the way."""

    def __init__(self) -> None:
        self.now = 0.0
        self.each_step = lambda: None

    def clock(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds
        self.each_step()


class Recorder:
    """Writes a file of two channels as a recorder does: its sizes are unset until it is closed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.frames = 0
        path.write_bytes(wav(fmt(2, RATE), chunk(b"data", b"", 0), stated=0))
        self.write(0.5)

    def write(self, seconds: float) -> None:
        count = round(seconds * RATE)
        body = pcm16(self.frames + count)[self.frames :].tobytes()
        with self.path.open("ab") as file:
            file.write(body)
        self.frames += count

    def close(self) -> None:
        size = self.path.stat().st_size
        with self.path.open("r+b") as file:
            file.seek(4)
            file.write(struct.pack("<I", size - 8))
            file.seek(40)
            file.write(struct.pack("<I", 4 * self.frames))


@pytest.fixture
def time() -> Time:
    """The time of the test."""
    return Time()


@pytest.fixture
def opened(time: Time) -> Iterator[Opened]:
    """Opens a growing take, and closes it after the test."""
    takes: list[GrowingTake] = []

    def make(path: Path) -> GrowingTake:
        takes.append(GrowingTake(path, 0.0, time.clock, time.sleep))
        return takes[-1]

    yield make
    for take in takes:
        take.close()


def sound(take: GrowingTake, time: Time, seconds: float) -> np.ndarray:
    """What comes in that time; shape (frames, channels)."""
    blocks, until = [np.zeros((0, 2), dtype=np.float32)], time.now + seconds
    with suppress(EndOfTake):
        while time.now < until:
            block = take.read(0.05)
            if block is not None:
                blocks.append(block.samples)
    return np.concatenate(blocks)


def test_what_is_there_comes_at_once_and_the_rest_as_it_grows(
    tmp_path: Path, time: Time, opened: Opened
) -> None:
    """Sample for sample; never more than is written, and in the long run at the pace of time."""
    recorder = Recorder(tmp_path / "take.wav")
    recorder.write(19.5)
    take = opened(recorder.path)
    first = sound(take, time, 0.5)
    assert len(first) / RATE == pytest.approx(20.0 - BEHIND_S, abs=0.7)
    rest = []
    for _ in range(20):  # in bursts of a second
        recorder.write(1.0)
        rest.append(sound(take, time, 1.0))
    got = np.concatenate([first, *rest])
    np.testing.assert_array_equal(got * 2.0**15, pcm16(len(got)))
    assert len(got) / RATE == pytest.approx(40.0 - BEHIND_S, abs=1.5)
    assert all(len(part) for part in rest)


def test_it_ends_when_the_recorder_closes_it(tmp_path: Path, time: Time, opened: Opened) -> None:
    """Every frame comes, then the take is over."""
    recorder = Recorder(tmp_path / "take.wav")
    take = opened(recorder.path)
    recorder.write(4.03)
    recorder.close()
    got = sound(take, time, 60.0)
    assert time.now < 60.0
    with pytest.raises(EndOfTake):
        take.read(0.05)
    np.testing.assert_array_equal(got * 2.0**15, pcm16(recorder.frames))


@pytest.mark.parametrize("burst_s", [0.1, 0.5, 1.0, 2.0])
def test_the_end_of_a_closed_take_is_no_lost_input(
    tmp_path: Path, time: Time, opened: Opened, burst_s: float
) -> None:
    """While nothing comes any more the source says that it may be over, until it is."""
    recorder = Recorder(tmp_path / "take.wav")
    recorder.write(5.0)
    take = opened(recorder.path)
    for _ in range(round(8.0 / burst_s)):
        sound(take, time, burst_s)
        recorder.write(burst_s)
    assert not take.ending
    recorder.close()
    silent_s, since = 0.0, time.now
    with suppress(EndOfTake):
        while time.now < 60.0:
            block = take.read(0.05)
            silent_s = 0.0 if block is not None or take.ending else silent_s + time.now - since
            since = time.now
            assert silent_s < STALL_S
    assert time.now < 60.0


def test_a_writer_that_stops_is_seen_within_five_seconds(
    tmp_path: Path, time: Time, opened: Opened
) -> None:
    """Nothing comes any more 3 s after the file stopped growing; a live input stalls at 0.7 s."""
    recorder = Recorder(tmp_path / "take.wav")
    recorder.write(10.0)
    take = opened(recorder.path)
    sound(take, time, BEHIND_S + 0.5)
    assert take.read(2.0) is None
    assert BEHIND_S + 0.5 + 0.7 < 5.0
    recorder.write(5.0)
    assert len(sound(take, time, 1.0))
    assert FINISHED_S < 5.0


def test_what_can_not_be_followed_is_refused(tmp_path: Path, time: Time, opened: Opened) -> None:
    """A folder without WAV files, and one whose files don't belong side by side."""
    with pytest.raises(SourceError, match="no WAV files"):
        opened(tmp_path)
    Recorder(tmp_path / "a.wav")
    Recorder(tmp_path / "b.wav")
    with pytest.raises(SourceError, match="must be mono"):
        opened(tmp_path)

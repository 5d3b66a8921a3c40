"""Finding an input, and counting what never arrived; the stream itself is tested end to end."""

from __future__ import annotations

import sys
import threading
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.sources.base import SourceError
from engine.sources.device import (
    DeviceSource,
    InputDevice,
    StreamClock,
    choose_input,
    list_inputs,
)

INPUTS = (
    InputDevice(0, "Built-in Microphone", "ALSA", 2, 44_100),
    InputDevice(3, "Stage 32", "ALSA", 32, 48_000),
    InputDevice(5, "Stage 32 monitor", "JACK Audio Connection Kit", 32, 48_000),
)


@pytest.mark.parametrize(
    ("text", "index"),
    [("3", 3), ("built", 0), ("stage 32", 3), ("MONITOR", 5), ("jack", 5), ("Stage 32, alsa", 3)],
)
def test_an_input_is_found_by_index_or_part_of_its_name(text, index):
    """Index, whole name (with its host API or not), or a part only one has, in any case."""
    assert choose_input(text, INPUTS).index == index


@pytest.mark.parametrize(
    ("text", "word"), [("stage", "several"), ("9", "no input"), ("", "several")]
)
def test_an_unknown_or_ambiguous_input_lists_what_there_is(text, word):
    """Nothing is guessed: the line names the inputs to choose from."""
    with pytest.raises(SourceError, match=word) as caught:
        choose_input(text, INPUTS)
    assert "3 Stage 32, ALSA" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_input_at_all_says_to_plug_one_in():
    """A machine without inputs is told so."""
    with pytest.raises(SourceError, match="plug the interface in"):
        choose_input("0", ())


RATE_HZ = 48_000


@given(
    gaps=st.lists(st.integers(0, RATE_HZ), min_size=1, max_size=20),
    jitter=st.lists(st.floats(-0.002, 0.002), min_size=20, max_size=20),
    start_s=st.floats(0, 1e5),
)
def test_a_flagged_gap_is_measured_by_the_converters_time(gaps, jitter, start_s):
    """Frames missing before a flagged block are found to within the jitter of two callbacks."""
    clock = StreamClock(RATE_HZ)
    frames = 480
    clock.lost_frames(start_s, frames, overflowed=False)
    place = frames
    for gap, off_s in zip(gaps, jitter, strict=False):
        place += gap
        lost = clock.lost_frames(start_s + place / RATE_HZ + off_s, frames, overflowed=gap > 0)
        assert lost == 0 if gap == 0 else abs(lost - gap) <= 0.005 * RATE_HZ
        place += frames


def test_a_flag_alone_counts_at_least_one_frame():
    """A block flagged by PortAudio is a gap even where its time does not show one."""
    clock = StreamClock(RATE_HZ)
    assert clock.lost_frames(0.0, 480, overflowed=True) == 1
    assert clock.lost_frames(0.0, 480, overflowed=True) == 1


def test_a_converter_that_runs_slow_is_no_gap():
    """A converter 200 ppm off the clock for an hour does not show up in a later gap's length."""
    clock = StreamClock(RATE_HZ)
    frames = 4_800
    for n in range(36_000):
        assert clock.lost_frames(n * frames / (RATE_HZ * 0.9998), frames, overflowed=False) == 0
    at_s = 36_000 * frames / (RATE_HZ * 0.9998) + 0.1
    assert abs(clock.lost_frames(at_s, frames, overflowed=True) - 4_800) < 100


def test_without_portaudio_the_remedy_is_named(monkeypatch):
    """Where PortAudio is missing, one line says how to install it."""

    class Missing:
        def find_spec(self, name, *_):
            if name == "sounddevice":
                raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(), *sys.meta_path])
    for call in (list_inputs, lambda: DeviceSource(INPUTS[0])):
        with pytest.raises(SourceError, match="apt install libportaudio2"):
            call()


class FakePortAudio:
    """Stands in for the library; the test plays the audio thread."""

    PortAudioError = RuntimeError

    def __init__(self) -> None:
        self.opened: dict = {}
        self.refuse_rate = 0
        self.closed = False

    def check_input_settings(self, *_, samplerate: int) -> None:
        if samplerate == self.refuse_rate:
            raise RuntimeError("Invalid sample rate")

    def InputStream(self, **how):  # noqa: N802 - the library's own name
        if how["samplerate"] == self.refuse_rate:
            raise RuntimeError("Invalid sample rate\n[PaErrorCode -9997]")
        self.opened = how
        return SimpleNamespace(start=lambda: None, close=self._close)

    def _close(self, ignore_errors: bool) -> None:
        self.closed = ignore_errors

    def call_back(self, samples, adc_s: float = 0.0, overflow: bool = False) -> None:
        times = SimpleNamespace(inputBufferAdcTime=adc_s)
        flags = SimpleNamespace(input_overflow=overflow)
        self.opened["callback"](samples, len(samples), times, flags)


@pytest.fixture
def library(monkeypatch):
    """A sound library that a test drives."""
    fake = FakePortAudio()
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    return fake


def test_blocks_come_through_in_order_with_what_was_lost_before_them(library):
    """Frames the device flagged and frames a slow worker missed are told with the next block."""
    source = DeviceSource(INPUTS[1], channels=2, sample_rate_hz=1_000, queue_s=0.1)
    block = np.arange(80, dtype=np.float32).reshape(40, 2)
    library.call_back(block, adc_s=0.00)
    library.call_back(block + 100, adc_s=0.14, overflow=True)
    library.call_back(block, adc_s=0.18)  # the queue of 100 frames is full
    first, second = source.read(0.1), source.read(0.1)
    assert (first.lost_frames, second.lost_frames) == (0, 100)
    np.testing.assert_array_equal(second.samples, block + 100)
    library.call_back(block + 200, adc_s=0.22)
    third = source.read(0.1)
    assert third.lost_frames == 40
    assert third.samples.T.flags.c_contiguous
    assert source.read(0.02) is None
    source.close()
    assert library.closed


def test_the_memory_of_a_block_may_be_reused_after_the_callback(library):
    """PortAudio overwrites its buffer: what was handed over must be a copy."""
    source = DeviceSource(INPUTS[1], channels=1)
    buffer = np.ones((10, 1), dtype=np.float32)
    library.call_back(buffer)
    buffer[:] = 9.0
    assert (source.read(0.1).samples == 1.0).all()


def test_a_stream_that_ends_delivers_its_last_block_then_fails(library):
    """After the device is gone, what it had delivered is read first; then one clear line."""
    source = DeviceSource(INPUTS[1], channels=1)
    library.call_back(np.ones((10, 1), dtype=np.float32))
    library.opened["finished_callback"]()
    assert len(source.read(0.1).samples) == 10
    with pytest.raises(SourceError, match="Stage 32 stopped delivering audio: check its cable"):
        source.read(0.1)


def test_an_error_in_the_callback_is_told_by_read(library):
    """The callback never raises; the worker is told instead."""
    source = DeviceSource(INPUTS[1], channels=2)
    library.call_back(np.ones((10, 3), dtype=np.float32))
    with pytest.raises(SourceError, match="stopped delivering"):
        source.read(0.1)


def test_a_waiting_read_wakes_when_the_stream_ends(library):
    """A read that waits long does not outlive the stream."""
    source = DeviceSource(INPUTS[1], channels=1)
    timer = threading.Timer(0.05, library.opened["finished_callback"])
    timer.start()
    with pytest.raises(SourceError):
        source.read(60.0)
    timer.join()


def test_a_device_that_refuses_is_one_line(library):
    """Rate or channels the device can't do give one line with the library's reason."""
    library.refuse_rate = 96_000
    with pytest.raises(SourceError, match="can't open 32 channels at 96000 Hz") as caught:
        DeviceSource(INPUTS[1], sample_rate_hz=96_000)
    assert "\n" not in str(caught.value)


def test_under_alsa_48_khz_is_taken_where_the_device_can(library):
    """PortAudio's 44100 under ALSA is no choice of the device's; elsewhere its default holds."""
    assert DeviceSource(INPUTS[0]).info.sample_rate_hz == 48_000
    library.refuse_rate = 48_000
    assert DeviceSource(INPUTS[0]).info.sample_rate_hz == 44_100

"""Peaks of an input that is listened to without being watched."""

from __future__ import annotations

import time

import pytest

from engine.sources.base import SourceError
from engine.sources.input_peaks import SILENT_DBFS, InputPeaks
from tests.engine.sources.test_capture import recorder

__all__ = ["recorder"]


def peaks_of(source: InputPeaks) -> list[float]:
    """The next peaks, waited for."""
    end = time.monotonic() + 30.0
    while time.monotonic() < end:
        found = source.read()
        if found is not None:
            return [round(float(level), 2) for level in found]
        time.sleep(0.01)
    raise AssertionError("nothing came")


def test_the_peak_of_each_channel_since_it_was_read(recorder) -> None:
    """Full scale is 0 dBFS, half of it -6.02, zero a number far below (arithmetic)."""
    recorder("say(info); block([[0.5, -1.0], [0.0, 0.0]]); time.sleep(99)")
    source = InputPeaks("Stage 8", "ALSA")
    try:
        assert peaks_of(source) == [0.0, SILENT_DBFS]
        assert source.read() is None
    finally:
        source.close()
        source.close()


def test_an_input_that_is_in_use_is_an_error_and_holds_up_nothing(recorder) -> None:
    """Opening returns at once; that it failed is said when it is read."""
    recorder('say({"error": "Stage 8: can\'t open 2 channels"})')
    source = InputPeaks("Stage 8", "ALSA")
    with pytest.raises(SourceError, match="can't open"):
        peaks_of(source)
    source.close()

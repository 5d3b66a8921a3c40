"""Loudness and peaks of real recordings against three general-purpose libraries.

Recordings: the spoken channel names and the pink noise of the Debian package alsa-utils
(/usr/share/sounds/alsa, 48 kHz, 16 bit, mono; GPL-2, see its copyright file). References:
libebur128 (Debian libebur128-1), ffmpeg's ebur128 filter (Debian ffmpeg), pyloudnorm (PyPI).
"""

from __future__ import annotations

import functools
import math
import re
import subprocess
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile
from scipy.signal import resample_poly

from engine.measure.meter import Totals
from engine.model.messages import Samples
from tests.references import ebur128
from tests.support.feed_meter import measure
from tests.support.signals import RATES_HZ

FOLDER = Path("/usr/share/sounds/alsa")
RECORDED_HZ = 48_000
LOUDNESS_LU = 0.1
PEAK_DB = 0.2

every_rate = pytest.mark.parametrize("rate_hz", RATES_HZ)


@functools.cache
def _recordings(rate_hz: int) -> Samples:
    """One track each: two readings of all channel names in turn with pauses, and the noise."""
    names = sorted(path for path in FOLDER.glob("*.wav") if path.stem != "Noise")
    if not names:
        pytest.fail("the recordings are missing: apt-get install alsa-utils")
    spoken = [soundfile.read(path, dtype="float32")[0] for path in names]
    noise = soundfile.read(FOLDER / "Noise.wav", dtype="float32")[0]
    first = np.concatenate(spoken)
    second = np.concatenate([0.05 * spoken[0], *spoken[:0:-1]])
    length = min(len(first), len(second))
    third = np.tile(noise, -(-length // len(noise)))
    tracks = np.stack([first[:length], second[:length], third[:length]], axis=1)
    if rate_hz != RECORDED_HZ:
        common = math.gcd(rate_hz, RECORDED_HZ)
        tracks = resample_poly(tracks, rate_hz // common, RECORDED_HZ // common, axis=0)
    # Whole ticks, so that every reference sees the same last frame.
    return np.ascontiguousarray(tracks[: len(tracks) - len(tracks) % (rate_hz // 10)], np.float32)


@functools.cache
def _totals(rate_hz: int) -> Totals:
    return measure(_recordings(rate_hz), rate_hz)[0]


@every_rate
def test_libebur128(rate_hz: int) -> None:
    """All three loudnesses agree within 0.1 LU, and both peaks within 0.2 dB, with libebur128."""
    totals = _totals(rate_hz)
    for n, track in enumerate(_recordings(rate_hz).T):
        reading = ebur128.measure(track, rate_hz)
        for ours, theirs in (
            (totals.integrated_lufs, reading.integrated_lufs),
            (totals.momentary_max_lufs, reading.momentary_max_lufs),
            (totals.short_term_max_lufs, reading.short_term_max_lufs),
        ):
            assert ours[n] == pytest.approx(theirs, abs=LOUDNESS_LU)
        assert totals.true_peak_max_dbtp[n] == pytest.approx(reading.true_peak_dbtp, abs=PEAK_DB)
        assert totals.sample_peak_max_dbfs[n] == pytest.approx(reading.sample_peak_dbfs, abs=1e-4)


@every_rate
def test_pyloudnorm(rate_hz: int) -> None:
    """Integrated loudness agrees within 0.1 LU with pyloudnorm."""
    totals = _totals(rate_hz)
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    for n, track in enumerate(_recordings(rate_hz).T):
        theirs = meter.integrated_loudness(track.astype(np.float64))
        assert totals.integrated_lufs[n] == pytest.approx(theirs, abs=LOUDNESS_LU)


@every_rate
def test_ffmpeg(rate_hz: int, tmp_path: Path) -> None:
    """Integrated loudness agrees within 0.1 LU, and true peak within 0.2 dB, with ffmpeg's meter.

    ffmpeg prints one decimal, so half of its last digit (0.05) is added to either tolerance.
    """
    totals = _totals(rate_hz)
    for n, track in enumerate(_recordings(rate_hz).T):
        path = tmp_path / f"{n}.wav"
        soundfile.write(path, track, rate_hz, subtype="FLOAT")
        integrated, true_peak = _ffmpeg(path)
        assert totals.integrated_lufs[n] == pytest.approx(integrated, abs=LOUDNESS_LU + 0.05)
        assert totals.true_peak_max_dbtp[n] == pytest.approx(true_peak, abs=PEAK_DB + 0.05)


def _ffmpeg(path: Path) -> tuple[float, float]:
    command = ["ffmpeg", "-nostats", "-hide_banner", "-i", str(path)]
    command += ["-af", "ebur128=peak=true", "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    summary = said[said.rindex("Summary:") :]
    integrated = re.search(r"I:\s+(-?[\d.]+) LUFS", summary)
    true_peak = re.search(r"Peak:\s+(-?[\d.]+) dBFS", summary)
    assert integrated
    assert true_peak
    return float(integrated[1]), float(true_peak[1])

"""When a steady tone can be heard in what else a track carries: tonal audibility of ISO 1996-2.

Annex C: a tone is audible where its level less the noise in the critical band round it (100 Hz
wide up to 500 Hz) is above -2 - lg(1 + (f / 502)^2.5) dB. Public descriptions of that index (-2
dB at low frequencies, -6 dB at 20 kHz) agree; its constants 502 and 2.5 are from memory.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from engine.model.messages import Samples

WINDOW_S: Final = 0.5
STEP_S: Final = 0.1
MAINS_HZ: Final = (50.0, 60.0)
LINES: Final = 8
CRITICAL_HZ: Final = 100.0
QUIET_PERCENT: Final = 25.0


def hum_audible(audio: Samples, rate: int) -> NDArray[np.bool_]:
    """Whether any mains line is audible, in steps of 0.1 s; `audio` has shape (frames,).

    The height of each line, which is steady, is taken from the quieter moments; what masks it,
    speech too, from each moment.
    """
    hz, _, spectra = signal.stft(
        audio,
        rate,
        nperseg=int(WINDOW_S * rate),
        noverlap=int((WINDOW_S - STEP_S) * rate),
        boundary=None,
        padded=False,
    )
    power = np.abs(spectra) ** 2
    audible = np.zeros(power.shape[1], dtype=np.bool_)
    for line_hz in (n * mains_hz for mains_hz in MAINS_HZ for n in range(1, LINES + 1)):
        at_tone = np.abs(hz - line_hz) <= 4.0
        middle_hz = max(line_hz, CRITICAL_HZ / 2.0)
        band = np.abs(hz - middle_hz) <= CRITICAL_HZ / 2.0
        tone = float(np.percentile(power[at_tone].sum(axis=0), QUIET_PERCENT))
        noise = np.maximum(power[band].sum(axis=0) - tone, 1e-20)
        limit_db = -2.0 - np.log10(1.0 + (line_hz / 502.0) ** 2.5)
        audible |= 10.0 * np.log10(max(tone, 1e-20) / noise) > limit_db
    return audible

"""libebur128 through ctypes: one mono state a track, as an outside reference and peer.

Debian package libebur128-1. Constants and return codes as in its public header, ebur128.h.
"""

from __future__ import annotations

import ctypes
import ctypes.util
from dataclasses import dataclass
from types import TracebackType

import numpy as np
from numpy.typing import NDArray

_MODE_M = 1 << 0
_MODE_S = (1 << 1) | _MODE_M
_MODE_I = (1 << 2) | _MODE_M
_MODE_SAMPLE_PEAK = (1 << 4) | _MODE_M
_MODE_TRUE_PEAK = (1 << 5) | _MODE_M | _MODE_SAMPLE_PEAK

_STATE = ctypes.c_void_p
_DOUBLE_OUT = ctypes.POINTER(ctypes.c_double)


@dataclass(frozen=True, slots=True)
class Reading:
    """What one state says at the end; levels in LUFS and dB, -inf where there is none."""

    integrated_lufs: float
    momentary_max_lufs: float
    short_term_max_lufs: float
    true_peak_dbtp: float
    sample_peak_dbfs: float


class Ebur128:
    """One mono state; close it, or use it in a `with`."""

    def __init__(self, rate_hz: int) -> None:
        self._library = _load()
        modes = _MODE_S | _MODE_I | _MODE_TRUE_PEAK
        self._state = _STATE(self._library.ebur128_init(1, rate_hz, modes))
        if not self._state:
            raise MemoryError("libebur128 gave no state: check rate and memory")
        self._momentary_max = self._short_term_max = -np.inf

    def add(self, samples: NDArray[np.float32], short_term: bool = True) -> None:
        """Feed mono samples, shape (frames,), and take in the windows as they then stand."""
        mono = np.ascontiguousarray(samples, dtype=np.float32)
        pointer = mono.ctypes.data_as(ctypes.POINTER(ctypes.c_float))
        self._check(self._library.ebur128_add_frames_float(self._state, pointer, len(mono)))
        self._momentary_max = max(self._momentary_max, self._read("loudness_momentary"))
        if short_term:
            self._short_term_max = max(self._short_term_max, self._read("loudness_shortterm"))

    def reading(self) -> Reading:
        """All values so far."""
        with np.errstate(divide="ignore"):
            true_peak, sample_peak = 20.0 * np.log10(
                [self._read("true_peak", 0), self._read("sample_peak", 0)]
            )
        return Reading(
            self._read("loudness_global"),
            self._momentary_max,
            self._short_term_max,
            float(true_peak),
            float(sample_peak),
        )

    def _read(self, name: str, *channel: int) -> float:
        out = ctypes.c_double()
        call = getattr(self._library, f"ebur128_{name}")
        self._check(call(self._state, *(ctypes.c_uint(c) for c in channel), ctypes.byref(out)))
        return out.value

    @staticmethod
    def _check(code: int) -> None:
        if code:
            raise RuntimeError(f"libebur128 answered with error {code}")

    def close(self) -> None:
        """Give the state back; harmless when done twice."""
        if self._state:
            self._library.ebur128_destroy(ctypes.byref(self._state))

    def __enter__(self) -> Ebur128:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def measure(samples: NDArray[np.float32], rate_hz: int) -> Reading:
    """Measure mono samples, shape (frames,): momentary every 10 ms, short-term every 100 ms."""
    hop = round(rate_hz / 100)
    with Ebur128(rate_hz) as state:
        for n, start in enumerate(range(0, len(samples), hop)):
            state.add(samples[start : start + hop], short_term=n % 10 == 9)
        return state.reading()


def _load() -> ctypes.CDLL:
    name = ctypes.util.find_library("ebur128") or "libebur128.so.1"
    try:
        library = ctypes.CDLL(name)
    except OSError as error:
        raise RuntimeError("libebur128 is missing: apt-get install libebur128-1") from error
    library.ebur128_init.restype = _STATE
    library.ebur128_init.argtypes = [ctypes.c_uint, ctypes.c_ulong, ctypes.c_int]
    library.ebur128_destroy.argtypes = [ctypes.POINTER(_STATE)]
    library.ebur128_destroy.restype = None
    library.ebur128_add_frames_float.argtypes = [
        _STATE,
        ctypes.POINTER(ctypes.c_float),
        ctypes.c_size_t,
    ]
    for name in ("loudness_momentary", "loudness_shortterm", "loudness_global"):
        getattr(library, f"ebur128_{name}").argtypes = [_STATE, _DOUBLE_OUT]
    for name in ("true_peak", "sample_peak"):
        getattr(library, f"ebur128_{name}").argtypes = [_STATE, ctypes.c_uint, _DOUBLE_OUT]
    return library

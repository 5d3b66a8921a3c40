"""Stands in for PortAudio's Python module: inputs that a thread of its own calls back for.

Put before the real one on PYTHONPATH. What it plays, over and over, is told by the environment:
STANDIN_TAKE (raw little-endian 16-bit samples, frames by channels), STANDIN_CHANNELS and
STANDIN_RATE. STANDIN_INPUTS: how many such inputs there are; 1 where it is not told. As a
converter does, it never waits: who is later than the latency asked for has lost those frames, and
the next callback is told so; but not on every second input, as some drivers do not.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np

BLOCK_S = 0.02
NAME = "interface"


class PortAudioError(Exception):
    """As the real module's."""


def query_hostapis() -> tuple[dict[str, Any], ...]:
    """One interface to the system."""
    return ({"name": "stand-in"},)


def query_devices(device: object = None, kind: str | None = None) -> Any:
    """One input, no outputs."""
    if kind == "output":
        raise PortAudioError("no output here")
    count = int(os.environ.get("STANDIN_INPUTS", "1"))
    found = tuple(
        {
            "index": index,
            "name": NAME if count == 1 else f"{NAME} {index + 1:02}",
            "hostapi": 0,
            "max_input_channels": int(os.environ["STANDIN_CHANNELS"]),
            "max_output_channels": 0,
            "default_samplerate": float(os.environ["STANDIN_RATE"]),
        }
        for index in range(count)
    )
    return found if device is None else found[int(str(device))]


def check_input_settings(*_asked: object, **_named: object) -> None:
    """Anything will do."""


def _initialize() -> None:
    """Nothing to start."""


def _terminate() -> None:
    """Nothing to end."""


class OutputStream:
    """There is none."""

    def __init__(self, *_asked: object, **_named: object) -> None:
        raise PortAudioError("no output here")


class InputStream:
    """Calls back in real time from `start` to `close`."""

    def __init__(
        self,
        *,
        device: int = 0,
        channels: int,
        samplerate: int,
        latency: float,
        callback: Callable[..., None],
        finished_callback: Callable[[], None],
        **_named: object,
    ) -> None:
        self._channels, self._rate_hz, self._latency_s = channels, samplerate, latency
        self._callback, self._finished = callback, finished_callback
        self._says_lost = device % 2 == 0
        stored = int(os.environ["STANDIN_CHANNELS"])
        self._take = np.memmap(os.environ["STANDIN_TAKE"], "<i2", "r").reshape(-1, stored)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="converter", daemon=True)

    def start(self) -> None:
        """Begin to convert."""
        self._thread.start()

    def close(self, ignore_errors: bool = True) -> None:
        """End."""
        self._stop.set()
        self._thread.join()
        self._finished()

    def _run(self) -> None:
        frames = round(BLOCK_S * self._rate_hz)
        count, began, number, lost = len(self._take) // frames, time.monotonic(), 0, False
        block = np.empty((frames, self._channels), dtype=np.float32)
        while not self._stop.is_set():
            due = began + (number + 1) * BLOCK_S
            late_s = time.monotonic() - due
            if late_s < 0.0:
                time.sleep(-late_s)
            elif late_s > self._latency_s:
                number += int(late_s / BLOCK_S)
                lost = self._says_lost
            first = number % count * frames
            stored = self._take[first : first + frames, : self._channels]
            np.multiply(stored, np.float32(2.0**-15), out=block)
            told = SimpleNamespace(inputBufferAdcTime=began + number * BLOCK_S)
            self._callback(block, frames, told, SimpleNamespace(input_overflow=lost))
            number, lost = number + 1, False

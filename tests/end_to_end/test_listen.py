"""Listening on a real PortAudio output: the right track comes, at its level, faded in."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator

import numpy as np
import pytest

from tests.support.checkout import ROOT
from tests.support.sound_server import SoundServer, require_sound_server, sound_server

pytestmark = pytest.mark.end_to_end

RATE_HZ = 48_000
TONES_HZ = {1: 440.0, 2: 1_000.0}
PLAYS_S = 3.0


class Recorder:
    """What the sink played, from its monitor, on both ears."""

    def __init__(self, server: SoundServer) -> None:
        command = ["parec", "--device=headphones.monitor", "--format=float32le", "--channels=2"]
        command += [f"--rate={RATE_HZ}", "--raw", "--latency-msec=50"]
        self.process = subprocess.Popen(command, env=server.env, stdout=subprocess.PIPE)
        self.data = bytearray()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        # A slow machine connects it late, and the fade-in would have gone by unheard.
        until = time.monotonic() + 20.0
        while not self.data:
            assert time.monotonic() < until, "the sink's monitor gave nothing"
            time.sleep(0.02)

    def _read(self) -> None:
        assert self.process.stdout is not None
        while chunk := self.process.stdout.read1(4096):
            self.data += chunk

    def stop(self) -> np.ndarray:
        """All of it, shape (frames, 2), up to half a second after now."""
        wanted = len(self.data) + RATE_HZ // 2 * 8
        until = time.monotonic() + 10.0
        while len(self.data) < wanted and time.monotonic() < until:
            time.sleep(0.02)
        self.process.kill()
        self.process.wait(10)
        self._reader.join(5)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return np.frombuffer(bytes(self.data[: len(self.data) // 8 * 8]), "<f4").reshape(-1, 2)


@pytest.fixture
def server() -> Iterator[SoundServer]:
    """A private sound server with a sink of its own for the headphones."""
    require_sound_server()
    with sound_server(2, RATE_HZ) as running:
        running.add_output("headphones")
        yield running


@pytest.mark.parametrize("track", [1, 2])
def test_the_chosen_track_is_heard_low_and_faded_in(server: SoundServer, track: int) -> None:
    """The tone of that track alone, 30 dB down, rising over at least 0.3 s, then fading out."""
    recorder = Recorder(server)
    command = [sys.executable, "-m", "tests.support.play_headphones", str(track), str(PLAYS_S)]
    done = subprocess.run(
        command, env=server.env, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )
    ears = recorder.stop()
    assert done.returncode == 0, done.stderr
    heard = ears[:, 0]
    assert np.array_equal(heard, ears[:, 1])
    loud = np.flatnonzero(np.abs(heard) > 1e-5)
    assert len(loud), "nothing was heard"
    heard = heard[loud[0] : loud[-1] + 1]
    assert PLAYS_S - 0.5 < len(heard) / RATE_HZ < PLAYS_S + 1.0
    middle = heard[RATE_HZ : 2 * RATE_HZ].astype(np.float64)
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(len(middle)))) / len(middle) * 4
    assert int(spectrum.argmax()) == TONES_HZ[track]
    others = np.delete(spectrum, np.arange(-3, 4) + int(TONES_HZ[track]))
    assert others.max() < spectrum.max() / 1000.0
    # A tone of peak -6 dBFS, 30 dB down.
    assert 20 * np.log10(spectrum.max()) == pytest.approx(-36.0, abs=0.2)
    steps = np.abs(heard[: RATE_HZ // 2]).reshape(10, -1).max(axis=1)
    assert steps[0] < steps[5] / 3
    assert (np.diff(steps[:6]) > 0).all()

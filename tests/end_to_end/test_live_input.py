"""The live input on a real PortAudio device, without sound hardware."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from tests.support.checkout import ROOT
from tests.support.sound_server import SoundServer, require_sound_server, sound_server

pytestmark = pytest.mark.end_to_end

CHANNELS = 16
RATE_HZ = 48_000


class Capture:
    """A capture that runs beside the test."""

    def __init__(self, server: SoundServer, seconds: float, path: Path) -> None:
        self.path = path
        script = "tests.support.capture_input"
        command = [sys.executable, "-m", script, str(CHANNELS), str(seconds), str(path)]
        self.process = subprocess.Popen(
            command, env=server.env, cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "listening\n"

    def result(self) -> tuple[np.ndarray, dict]:
        """Samples and what the capture told."""
        out, _ = self.process.communicate(timeout=30)
        assert self.process.returncode == 0
        return np.load(self.path), json.loads(out)


def ramp_take(seconds: float) -> np.ndarray:
    """Channel c steps through the levels (c + 1) · 2^-10 · 1, 2, ... 7, a new one every 10 ms.

    Exact in float32, different on every channel, and no two neighbouring steps alike, so a swap,
    a gap or a repetition shows.
    """
    step = np.arange(round(seconds * RATE_HZ)) // (RATE_HZ // 100) % 7 + 1
    return (step[:, np.newaxis] * np.arange(1, CHANNELS + 1) * 2.0**-10).astype(np.float32)


@pytest.fixture
def server():
    """A sound server of its own."""
    require_sound_server()
    with sound_server(CHANNELS, RATE_HZ) as running:
        yield running


def test_every_channel_arrives_in_order_and_sample_for_sample(server, tmp_path):
    """What was played on channel n is captured on channel n, unaltered and without a gap."""
    capture = Capture(server, 4.0, tmp_path / "got.npy")
    take = ramp_take(2.0)
    # The lead-in gives the server's own stream time to settle.
    server.play(np.concatenate([np.zeros_like(take[: RATE_HZ // 2]), take]))
    got, told = capture.result()
    assert told["rate_hz"] == RATE_HZ
    assert told["failure"] == ""
    assert told["lost"] == 0
    assert ["interface", "ALSA"] in [row[:2] for row in told["inputs"]]
    sounding = np.flatnonzero(got.any(axis=1))
    assert len(sounding), "nothing was captured"
    heard = got[sounding[0] : sounding[0] + len(take)]
    np.testing.assert_array_equal(heard, take)


@pytest.mark.parametrize("way", ["unplug", "kill"])
def test_an_input_pulled_away_is_noticed(server, tmp_path, way):
    """An input that goes away mid-stream fails within two seconds, with one clear line."""
    capture = Capture(server, 5.0, tmp_path / "got.npy")
    server.play(ramp_take(4.0))
    time.sleep(1.0)
    getattr(server, way)()
    got, told = capture.result()
    assert 0 < len(got) < 3 * RATE_HZ
    assert told["failure"].startswith("interface stopped delivering audio")
    assert "\n" not in told["failure"]

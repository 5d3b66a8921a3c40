"""The whole program on a live input: a real PortAudio device, a real process, a real plan."""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.support.checkout import ROOT
from tests.support.sound_server import DEVICE, SoundServer, require_sound_server, sound_server

pytestmark = pytest.mark.end_to_end

RATE_HZ = 48_000
TRACKS = 4
MUTED_FROM_S, MUTED_TO_S = 16.0, 20.0


class Watch:
    """`trackwarden watch --console` in a process of its own; its lines as they come."""

    def __init__(self, server: SoundServer, plan: Path) -> None:
        command = [sys.executable, "-m", "app", "watch", "--console", "--device", DEVICE]
        self.process = subprocess.Popen(
            [*command, "--plan", str(plan)],
            env=server.env,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.lines: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.put(line.rstrip())

    def wait_for(self, *words: str, within_s: float) -> str:
        """The next line that holds all the words."""
        until = time.monotonic() + within_s
        seen = []
        while True:
            try:
                line = self.lines.get(timeout=max(0.0, until - time.monotonic()))
            except queue.Empty:
                raise AssertionError(f"no line with {words} within {within_s} s: {seen}") from None
            seen.append(line)
            if all(word in line for word in words):
                return line

    def stop(self) -> int:
        """End it as a person does, with Ctrl+C; its exit status."""
        self.process.send_signal(2)
        status = self.process.wait(20)
        self._reader.join(5)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return status


def take() -> np.ndarray:
    """Noise like a place on every channel; track 2 is muted for a while."""
    rng = np.random.default_rng(5)
    samples = 0.004 * rng.standard_normal((26 * RATE_HZ, 16), dtype=np.float32)
    samples[round(MUTED_FROM_S * RATE_HZ) : round(MUTED_TO_S * RATE_HZ), 1] = 0.0
    return samples


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """Two performers, main and safety."""
    path = tmp_path / "plan.toml"
    rows = [
        f'[[track]]\ninput = {n}\nname = "Hauler {w} {level}"\nwho = "Hauler {w}"\n'
        f'level = "{level}"\npack = "{n}"\n'
        for n, w, level in ((1, 1, "main"), (2, 1, "safety"), (3, 2, "main"), (4, 2, "safety"))
    ]
    path.write_text("\n".join(rows), encoding="utf-8")
    return path


@pytest.fixture
def server() -> Iterator[SoundServer]:
    """A private sound server, where the machine has one."""
    require_sound_server()
    with sound_server(16, RATE_HZ) as running:
        yield running


def test_a_take_played_into_a_live_input_raises_its_alarms(server: SoundServer, plan: Path) -> None:
    """A mute on a live input goes amber, then red, names pack and cover, and ends."""
    player = server.play(take())
    watch = Watch(server, plan)
    try:
        amber = watch.wait_for("amber", "2 Hauler 1 safety", "muted", within_s=30)
        red = watch.wait_for("RED", "2 Hauler 1 safety", "backup 1", within_s=4)
        watch.wait_for("back", "2 Hauler 1 safety", within_s=8)
    finally:
        player.kill()
        player.wait()
        status = watch.stop()
    assert "pack 2" in amber
    assert "pack 2" in red
    assert status == 1


def test_an_input_pulled_away_is_said_at_once(server: SoundServer, plan: Path) -> None:
    """The input goes away mid-watch: within two seconds a red `input lost` says so."""
    player = server.play(take())
    watch = Watch(server, plan)
    try:
        watch.wait_for("watching", within_s=20)
        time.sleep(3)
        server.unplug()
        watch.wait_for("RED", "input lost", within_s=2)
    finally:
        player.kill()
        player.wait()
        assert watch.stop() == 1

"""A private user-space sound server with one multichannel input, for machines without hardware.

PulseAudio runs with a null sink; what is played into the sink comes out of the ALSA device
`interface`, which PortAudio lists. On Debian it needs `apt install pulseaudio pulseaudio-utils
libasound2-plugins libportaudio2`; root is fine.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

DEVICE = "interface"
_SINK = "take"
# The order ALSA's pulse plugin asks for; the sink must have the same, or channels are swapped.
_FIRST_EIGHT = "front-left,front-right,rear-left,rear-right,front-center,lfe,side-left,side-right"
# PortAudio 19.6 aborts where every device it lists can be opened, so there is one that can't.
_ALSA_CONFIG = """
pcm.{device} {{ type pulse server "{server}" device "{sink}.monitor" }}
pcm.absent {{ type empty slave.pcm nothing_here }}
"""


@dataclass
class SoundServer:
    """A running server. Start programs that are to use it with `env`."""

    channels: int
    rate_hz: int
    folder: Path
    env: dict[str, str]
    process: subprocess.Popen[bytes]
    players: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def play(self, samples: np.ndarray) -> subprocess.Popen[bytes]:
        """Play float samples of shape (frames, channels) once; returns at once."""
        take = self.folder / f"take{len(self.players)}.raw"
        take.write_bytes(np.ascontiguousarray(samples, dtype="<f4").tobytes())
        command = ["pacat", "--playback", "--raw", "--format=float32le", f"--device={_SINK}"]
        command += [f"--rate={self.rate_hz}", f"--channels={self.channels}"]
        command += [f"--channel-map={channel_map(self.channels)}", "--latency-msec=100", str(take)]
        self.players.append(subprocess.Popen(command, env=self.env))
        return self.players[-1]

    def add_output(self, name: str) -> None:
        """One more output of that name, a null sink in stereo; its monitor is `name`.monitor."""
        sink = ["module-null-sink", f"sink_name={name}", f"rate={self.rate_hz}", "channels=2"]
        command = ["pactl", "load-module", *sink, "format=float32le"]
        subprocess.run(command, env=self.env, check=True, timeout=10, capture_output=True)
        alsa = self.folder / "alsa.conf"
        server = self.env["PULSE_SERVER"]
        more = f'pcm.{name} {{ type pulse server "{server}" device "{name}" }}\n'
        alsa.write_text(alsa.read_text() + more)

    def unplug(self) -> None:
        """Take the input away and leave the server running, as when a cable is pulled."""
        listed = self._ask("list", "short", "modules").splitlines()
        ours = [line for line in listed if f"sink_name={_SINK} " in line]
        self._ask("unload-module", ours[0].split()[0])

    def _ask(self, *words: str) -> str:
        done = subprocess.run(
            ["pactl", *words], env=self.env, check=True, timeout=10, capture_output=True, text=True
        )
        return done.stdout

    def plug_in(self) -> None:
        """Give it back after `unplug`; what is to sound is played anew."""
        command = ["pactl", "load-module", *_sink(self.channels, self.rate_hz).split()]
        subprocess.run(command, env=self.env, check=True, timeout=10, stdout=subprocess.DEVNULL)

    def kill(self) -> None:
        """End the server without warning."""
        self.process.kill()
        self.process.wait(10)


def _sink(channels: int, rate_hz: int) -> str:
    """The module that is the input, and its arguments."""
    sink = f"module-null-sink sink_name={_SINK} rate={rate_hz} channels={channels}"
    return f"{sink} format=float32le channel_map={channel_map(channels)}"


def channel_map(channels: int) -> str:
    """PulseAudio's name of each channel, in ALSA's order."""
    names = _FIRST_EIGHT.split(",") + [f"aux{n}" for n in range(24)]
    return ",".join(names[:channels])


def require_sound_server() -> None:
    """Skip the test where the server is not installed; never in CI, which must run it."""
    if "CI" not in os.environ and not (shutil.which("pulseaudio") and shutil.which("pacat")):
        pytest.skip("apt install pulseaudio pulseaudio-utils libasound2-plugins libportaudio2")


@contextmanager
def sound_server(channels: int = 16, rate_hz: int = 48_000) -> Iterator[SoundServer]:
    """Run a server with one input of up to 32 channels for as long as the block lasts."""
    with tempfile.TemporaryDirectory(prefix="sound", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        env = _environment(folder)
        sink = _sink(channels, rate_hz)
        command = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]
        command += ["--disable-shm=yes", "--realtime=no", "--high-priority=no", "-L", sink, "-L"]
        command += [f"module-native-protocol-unix auth-anonymous=1 socket={folder}/native"]
        with (folder / "server.log").open("wb") as log:
            process = subprocess.Popen(command, env=env, stderr=log)
        server = SoundServer(channels, rate_hz, folder, env, process)
        try:
            _wait_until_up(server)
            yield server
        finally:
            for player in server.players:
                player.kill()
                player.wait(10)
            server.kill()


def _environment(folder: Path) -> dict[str, str]:
    (folder / "daemon.conf").write_text("enable-remixing = no\n")
    alsa = folder / "alsa.conf"
    server = f"unix:{folder}/native"
    alsa.write_text(_ALSA_CONFIG.format(device=DEVICE, server=server, sink=_SINK))
    env = {key: value for key, value in os.environ.items() if key != "DBUS_SESSION_BUS_ADDRESS"}
    return env | {
        "HOME": str(folder),
        "XDG_RUNTIME_DIR": str(folder),
        "PULSE_CONFIG": str(folder / "daemon.conf"),
        "PULSE_SERVER": server,
        "ALSA_CONFIG_PATH": str(alsa),
    }


def _wait_until_up(server: SoundServer) -> None:
    for _ in range(100):
        probe = subprocess.run(["pactl", "info"], env=server.env, capture_output=True, timeout=10)
        if probe.returncode == 0:
            return
        time.sleep(0.1)
    raise RuntimeError((server.folder / "server.log").read_text())

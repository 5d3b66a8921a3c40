"""A real MQTT broker of its own on a free loopback port."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psutil  # type: ignore[import-untyped]
import pytest


def require_broker() -> str:
    """Skip the test where mosquitto is not installed; never in CI, which must run it."""
    found = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None and "CI" not in os.environ:
        pytest.skip("apt install mosquitto")
    return found or "mosquitto"


def free_port() -> int:
    """A port that nobody listens on."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class RunningBroker:
    """mosquitto without persistence; `stop` and `start` are a restart that forgets everything.

    config : lines of its configuration besides where it listens
    """

    def __init__(self, folder: Path, *config: str) -> None:
        self.port = free_port()
        self._config = folder / "mosquitto.conf"
        lines = (f"listener {self.port} 127.0.0.1", *(config or ("allow_anonymous true",)))
        self._config.write_text("\n".join(lines) + "\n", "utf-8")
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Run it and wait until it listens."""
        command = [require_broker(), "-c", str(self._config)]
        self.process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        end = time.monotonic() + 10.0
        while time.monotonic() < end:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1.0).close()
            except OSError:
                time.sleep(0.02)
            else:
                return
        raise TimeoutError("the broker does not listen")

    def stop(self) -> None:
        """End it."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()

    def hang(self) -> None:
        """Let it stand still, its connections open, until `go_on` or `stop`."""
        assert self.process is not None
        psutil.Process(self.process.pid).suspend()

    def go_on(self) -> None:
        """After `hang`."""
        assert self.process is not None
        psutil.Process(self.process.pid).resume()


@contextmanager
def broker(*config: str) -> Iterator[RunningBroker]:
    """For as long as the block lasts, with those lines of configuration."""
    with tempfile.TemporaryDirectory(prefix="broker") as folder:
        running = RunningBroker(Path(folder), *config)
        running.start()
        try:
            yield running
        finally:
            running.stop()

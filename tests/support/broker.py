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
    """mosquitto without persistence; `stop` and `start` are a restart that forgets everything."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._config = folder / "mosquitto.conf"
        self._config.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n", "utf-8")
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


@contextmanager
def broker() -> Iterator[RunningBroker]:
    """For as long as the block lasts."""
    with tempfile.TemporaryDirectory(prefix="broker") as folder:
        running = RunningBroker(Path(folder))
        running.start()
        try:
            yield running
        finally:
            running.stop()

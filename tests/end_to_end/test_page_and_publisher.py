"""A watch with its page and its publisher: each may go, and the others say so and go on."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from app.fleet.broker_address import Broker
from app.fleet.site_reader import SiteReader
from engine.session import engines, folders
from tests.support.broker import RunningBroker, broker, require_broker
from tests.support.checkout import ROOT

pytestmark = [pytest.mark.end_to_end, pytest.mark.at_any_speed]


class Evening:
    """A replay of the demo take in the terminal, with both companions."""

    def __init__(self, folder: Path, server: RunningBroker) -> None:
        self.lines: list[str] = []
        self.log = folder / "terminal.txt"
        publish = f"mqtt://127.0.0.1:{server.port}/belfry/main"
        words = ["replay", "demo", "--console", "--loop", "--page", "127.0.0.1:0"]
        env = {**os.environ, "XDG_DATA_HOME": str(folder), "PYTHONUNBUFFERED": "1"}
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "app", *words, "--publish", publish],
                cwd=ROOT,
                env=env,
                stdout=out,
                stderr=subprocess.STDOUT,
            )

    def said(self, pattern: str) -> re.Match[str] | None:
        """The first line in the terminal that fits."""
        return re.search(pattern, self.log.read_text("utf-8"), re.MULTILINE)

    def end(self) -> None:
        """Ctrl+C: nobody else looks at it, page and publisher do not count."""
        self.process.send_signal(signal.SIGINT)
        self.process.wait(30)


def until(holds: Callable[[], Any], seconds: float = 120.0) -> Any:
    """Wait until that is true; returns it."""
    end = time.monotonic() + seconds
    while not (found := holds()):
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)
    return found


@pytest.fixture
def server() -> Iterator[RunningBroker]:
    """A broker of its own."""
    require_broker()
    with broker() as running:
        yield running


def process_of(module: str, folder: Path) -> int:
    """The process that runs that module for a session below the folder."""
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        words = path.read_bytes().decode(errors="replace").split("\0")
        if module in words and any(word.startswith(str(folder)) for word in words):
            return int(path.parent.name)
    return 0


@pytest.mark.skipif(sys.platform != "linux", reason="finds processes in /proc")
def test_each_may_go_and_the_watch_goes_on(
    tmp_path: Path, server: RunningBroker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Page killed, broker killed: both are said, the page comes again; Ctrl+C ends it all."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    evening = Evening(tmp_path, server)
    reader = SiteReader(Broker("127.0.0.1", server.port, False, "belfry"))
    try:
        address = until(lambda: evening.said(r"^page: (http://127\.0\.0\.1:\d+)/#\S{22}$"))[1]
        assert urllib.request.urlopen(address, timeout=5).status == 200

        def problem() -> str | None:
            reader.take_in()
            carts = reader.carts.carts(time.monotonic())
            return carts[0].problem if carts else None

        until(lambda: problem() == "")
        os.kill(process_of("app.page.page_process", tmp_path), signal.SIGKILL)
        server.stop()
        before = evening.log.stat().st_size
        until(lambda: evening.log.stat().st_size > before)  # the next alarm of the take
        until(lambda: evening.said("^the page ended: it is started again"))
        until(lambda: len(re.findall("^page: http", evening.log.read_text("utf-8"), re.M)) == 2)
        until(lambda: evening.said("^not at the broker: "))
        server.start()
        until(lambda: problem() == "")
        until(lambda: evening.said("^published again$"))
        ((_, running),) = engines.running_watches(folders.sessions_folder())
        evening.end()
        until(lambda: problem() == "watch gone")
        until(lambda: not Path(f"/proc/{running.pid}").exists())
        assert evening.said("Traceback") is None
        assert evening.said("^watched ") is not None
    finally:
        evening.process.kill()
        evening.process.wait()
        reader.close()
        for module in ("app.page.page_process", "app.fleet.publisher"):
            pid = process_of(module, tmp_path)
            if pid:
                os.kill(pid, signal.SIGKILL)

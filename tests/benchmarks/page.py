"""What the page costs: its process, the watch beside it, and each phone's share of the network.

    python -m tests.benchmarks.page [--phones 0 1 20] [--tracks 16] [--seconds 15]

A replay of the demo take over so many tracks, in real time with its page; so many phones read the
news and throw it away. CPU of both processes in per cent of one core, from /proc (Linux).
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Final

from app.page.launch import PageWish, launch
from engine.session import engines, folders
from tests.benchmarks.tiled import plan_text, write_take
from tests.support.checkout import ROOT

TICKS: Final = os.sysconf("SC_CLK_TCK")
WAITS_S: Final = 120.0
LONG_MINUTES: Final = 2.0


class Phone(threading.Thread):
    """Reads until the connection ends, and counts."""

    def __init__(self, address: str) -> None:
        super().__init__(daemon=True)
        self.received = 0
        own, _, self._code = address.removeprefix("http://").partition("/#")
        self._own = own

    def run(self) -> None:
        """Enter, and read."""
        head = {"Host": self._own, "Origin": f"http://{self._own}"}
        connection = http.client.HTTPConnection(self._own, timeout=30)
        body = json.dumps({"code": self._code})
        connection.request("POST", "/enter", body, {**head, "Content-Type": "application/json"})
        cookie = connection.getresponse().getheader("Set-Cookie", "").partition(";")[0]
        connection = http.client.HTTPConnection(self._own, timeout=30)
        connection.request("GET", "/news", headers={**head, "Cookie": cookie})
        answer = connection.getresponse()
        while line := answer.readline():
            self.received += len(line)


def cpu_s(pid: int) -> float:
    """CPU seconds of that process so far."""
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def page_pid(folder: Path) -> int:
    """The process that serves the page of that session."""
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        words = path.read_bytes().split(b"\0")
        if b"app.page.page_process" in words and str(folder).encode() in words:
            return int(path.parent.name)
    raise LookupError("no page")


def watches() -> list[tuple[Path, engines.Running]]:
    """All that run below this benchmark's own home."""
    return engines.running_watches(folders.sessions_folder())


def measure(take: Path, plan: Path, phones: int, seconds: float, page: bool) -> None:
    """One row."""
    command = [sys.executable, "-m", "app", "replay", str(take), "--plan", str(plan)]
    command += ["--console", "--loop"]
    watch = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    readers: list[Phone] = []
    pages: list[int] = []
    try:
        end = time.monotonic() + WAITS_S
        while (
            not (running := engines.running_watches(folders.sessions_folder()))
            or not running[0][1].source
        ):
            assert time.monotonic() < end, "the watch does not begin"
            time.sleep(0.1)
        folder, engine = running[0][0], running[0][1].pid
        if page:
            said = launch(folder, PageWish("127.0.0.1:0"))
            pages = [page_pid(folder)]
            readers = [Phone(said["address"]) for _ in range(phones)]
        for reader in readers:
            reader.start()
        time.sleep(3.0)
        before = [cpu_s(pid) for pid in (engine, *pages)]
        came = sum(reader.received for reader in readers)
        time.sleep(seconds)
        busy = [
            100 * (cpu_s(pid) - was) / seconds
            for pid, was in zip((engine, *pages), before, strict=True)
        ]
        each = (sum(r.received for r in readers) - came) / seconds / max(1, phones)
    finally:
        watch.terminate()
        watch.wait()
        for pid in pages:
            os.kill(pid, signal.SIGTERM)
    shown = f"{busy[1]:8.2f} %" if page else "       –  "
    print(f"{phones:6d}  {shown}  {busy[0]:8.2f} %  {each:10.0f} B/s", flush=True)
    while watches():
        time.sleep(0.2)


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--phones", type=int, nargs="+", default=[0, 1, 20])
    parser.add_argument("--tracks", type=int, default=16)
    parser.add_argument("--seconds", type=float, default=15.0)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="page", ignore_cleanup_errors=True) as home:
        os.environ["XDG_DATA_HOME"] = home
        take, plan = Path(home) / "take.wav", Path(home) / "plan.toml"
        write_take(take, given.tracks, LONG_MINUTES)
        plan.write_text(plan_text(given.tracks), encoding="utf-8")
        print("phones  page's CPU  watch's CPU  for each phone")
        measure(take, plan, 0, given.seconds, page=False)
        for phones in given.phones:
            measure(take, plan, phones, given.seconds, page=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

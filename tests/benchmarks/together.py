"""A live watch with all that may look at it at once, and beside that the same watch alone.

    python -m tests.benchmarks.together [--tracks 16] [--seconds 30] [--rounds 2] [--no-kills]

The watch takes a real PortAudio input (a sound server's, 32 channels at most). `alone` and `with
all` take turns on the one watch: page with two browsers open, publisher, a real mosquitto, and the
overview in a second terminal. Then each part is killed in turn, and what the others say is printed.

CPU is the share of one core of the watch's processes (the one that records with it). `late` is how
long after the newest audio came a snapshot of it was here, that and audio lost as the watch counts
it; a reader of ours asks for it in both. Linux; mosquitto, pulseaudio and Chromium with its driver.
"""

from __future__ import annotations

import argparse
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from selenium import webdriver

from app.fleet import publishing
from app.page.launch import PageWish, launch, start_publisher
from engine.model.commands import Open
from engine.runtime.client import EngineClient
from engine.session import engines, folders
from tests.benchmarks.page import cpu_s, page_pid
from tests.benchmarks.screen.inputs import served
from tests.benchmarks.tiled import plan_text
from tests.support.broker import RunningBroker, broker
from tests.support.browser import phone
from tests.support.checkout import ROOT
from tests.support.sound_server import DEVICE

RATE_HZ: Final = 48_000
WAITS_S: Final = 60.0
WARM_UP_S: Final = 8.0
SITE: Final = "belfry"


class Terminal:
    """A command of the program whose lines are kept with the time when they came."""

    def __init__(self, path: Path, *words: str) -> None:
        self._path = path
        self._read = 0
        with path.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-u", "-m", "app", *words], cwd=ROOT, stdout=out, stderr=out
            )

    def news(self) -> list[str]:
        """Whole lines since the last call."""
        text = self._path.read_text("utf-8", errors="replace")
        fresh = text[self._read : text.rfind("\n") + 1]
        self._read += len(fresh)
        return fresh.splitlines()

    def end(self) -> None:
        """Ctrl+C, then force."""
        self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


@dataclass
class Evening:
    """The watch and what runs beside it."""

    scratch: Path
    folder: Path
    watch: Terminal
    server: RunningBroker

    @property
    def site(self) -> str:
        """Where its carts are."""
        return f"mqtt://127.0.0.1:{self.server.port}/{SITE}"

    @property
    def engine(self) -> int:
        """The watch's own process now."""
        running = engines.left_running(self.folder)
        assert running is not None
        return running.pid


def until(holds: Callable[[], Any], seconds: float = WAITS_S) -> float:
    """Wait for it; how long that took, s."""
    began = time.monotonic()
    while not holds():
        assert time.monotonic() - began < seconds, "waited in vain"
        time.sleep(0.02)
    return time.monotonic() - began


def family(pid: int) -> list[int]:
    """That process and its children."""
    path = Path(f"/proc/{pid}/task/{pid}/children")
    try:
        return [pid, *map(int, path.read_text("ascii").split())]
    except OSError:
        return [pid]


# ---- with and without ------------------------------------------------------------------------


@dataclass
class Beside:
    """All that looks at the watch."""

    browsers: list[webdriver.Chrome]
    overview: Terminal
    page: int
    publisher: int


@contextmanager
def all_at_once(evening: Evening) -> Iterator[Beside]:
    """Page in two browsers, publisher, overview."""
    with ExitStack() as stack:
        said = launch(evening.folder, PageWish("127.0.0.1:0", "", evening.site))
        start_publisher(evening.folder, f"{evening.site}/tower")
        browsers = [stack.enter_context(phone()), stack.enter_context(phone((320, 568), "light"))]
        for driver in browsers:
            driver.get(said["address"])
        overview = Terminal(evening.scratch / "overview.txt", "overview", evening.site)
        stack.callback(overview.end)
        until(
            lambda: (
                publishing.status(evening.folder) == publishing.Status(f"{evening.site}/tower", "")
            )
        )
        beside = Beside(browsers, overview, page_pid(evening.folder), publisher_pid(evening.folder))
        try:
            yield beside
        finally:
            publishing.switch_off(evening.folder)
            kill(page_pid_or_none(evening.folder))
            until(lambda: publisher_pid(evening.folder) == 0)


def publisher_pid(folder: Path) -> int:
    """Who publishes that session; 0: nobody."""
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = path.read_bytes().split(b"\0")
        except OSError:
            continue
        if b"app.fleet.publisher" in words and str(folder).encode() in words:
            return int(path.parent.name)
    return 0


def page_pid_or_none(folder: Path) -> int:
    """Who serves its page; 0: nobody."""
    try:
        return page_pid(folder)
    except (LookupError, OSError):
        return 0


def kill(pid: int) -> None:
    """Without warning."""
    if pid:
        os.kill(pid, signal.SIGKILL)


def figures(evening: Evening, seconds: float, pids: dict[str, int]) -> str:
    """One row: what the watch says of itself for so long, and what each part costs."""
    client = EngineClient(Open(), "benchmark", evening.folder, follows=True)
    late: list[float] = []
    try:
        until(lambda: client.latest() is not None)
        watch = family(evening.engine)
        before = {name: cpu_s(pid) for name, pid in pids.items()}
        own = sum(map(cpu_s, watch))
        lost_s: float | None = None
        began = time.monotonic()
        while (now := time.monotonic()) - began < seconds:
            shot = client.latest()
            if shot is not None:
                late.append(now - shot.heard_at)
                lost_s = shot.audio_lost_s if lost_s is None else lost_s
                newest_lost_s = shot.audio_lost_s
            time.sleep(0.002)
        took = time.monotonic() - began
    finally:
        client.close()
    share = 100 * (sum(map(cpu_s, watch)) - own) / took
    parts = "".join(
        f"  {name} {100 * (cpu_s(pid) - before[name]) / took:.1f} %" for name, pid in pids.items()
    )
    p50, p99 = np.percentile(late, (50, 99))
    lost = newest_lost_s - (lost_s or 0.0)
    return (
        f"lost {lost:.3f} s  late p50 {p50 * 1e3:4.0f} ms, p99 {p99 * 1e3:4.0f} ms, "
        f"worst {max(late) * 1e3:4.0f} ms  CPU {share:4.1f} %{parts}"
    )


# ---- kills -------------------------------------------------------------------------------------


def page_says(driver: webdriver.Chrome) -> str:
    """What stands over the phone's page, or that nothing does."""
    script = (
        "return [document.getElementById('stale'), document.getElementById('condition'),"
        " document.getElementById('site')].filter(e => e && !e.hidden).map(e => e.innerText)"
    )
    return " | ".join(filter(None, driver.execute_script(script))) or "nothing over it"


def tell(evening: Evening, beside: Beside, what: str, since: float) -> None:
    """What each part says by now."""
    stands = publishing.status(evening.folder)
    published = "nobody publishes" if stands is None else stands.problem or "published"
    pages = " / ".join(map(page_says, beside.browsers))
    print(f"  {time.monotonic() - since:4.1f} s after {what}")
    print(f"    watch      {' ; '.join(evening.watch.news()[-4:]) or 'says nothing'}")
    print(f"    pages      {pages}")
    print(f"    overview   {' ; '.join(beside.overview.news()[-4:]) or 'says nothing'}")
    print(f"    publisher  {published}", flush=True)


def kills(evening: Evening) -> None:
    """Each part in turn; then all that is left."""
    with all_at_once(evening) as beside:
        time.sleep(6.0)
        tell(evening, beside, "all began", time.monotonic())

        def provoke(what: str, act: Callable[[], None], waits_s: tuple[float, ...]) -> None:
            began = time.monotonic()
            act()
            for wait_s in waits_s:
                time.sleep(max(0.0, began + wait_s - time.monotonic()))
                tell(evening, beside, what, began)

        provoke("one browser was closed", beside.browsers.pop().quit, (2.0,))
        provoke("the broker was killed", evening.server.stop, (7.0,))
        provoke("the broker came back", evening.server.start, (8.0,))
        provoke("the publisher was killed", lambda: kill(beside.publisher), (3.0, 8.0))
        publish = f"{evening.site}/tower"
        provoke("it was started anew", lambda: start_publisher(evening.folder, publish), (6.0,))
        provoke("the watch's engine was killed", lambda: kill(evening.engine), (0.8, 3.0, 8.0))
        provoke("the engine was stopped (SIGSTOP)", lambda: stop(evening.engine, 4.0), (8.0,))
        provoke("the overview was killed", beside.overview.process.kill, (2.0,))
        provoke("the page was killed", lambda: kill(page_pid_or_none(evening.folder)), (3.0,))


def stop(pid: int, seconds: float) -> None:
    """Let a process stand still for a while."""
    os.kill(pid, signal.SIGSTOP)
    time.sleep(seconds)
    os.kill(pid, signal.SIGCONT)


def main() -> int:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tracks", type=int, default=16)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--no-kills", action="store_true")
    given = parser.parse_args()
    with ExitStack() as stack:
        scratch = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="together")))
        env = {**os.environ, "XDG_DATA_HOME": str(scratch / "data")}
        os.environ.update(stack.enter_context(served(given.tracks, RATE_HZ, scratch, env)))
        os.environ["XDG_DATA_HOME"] = str(scratch / "data")
        plan = scratch / "plan.toml"
        plan.write_text(plan_text(given.tracks), encoding="utf-8")
        words = ("watch", "--console", "--device", DEVICE, "--plan", str(plan))
        watch = Terminal(scratch / "watch.txt", *words)
        stack.callback(watch.end)
        server = stack.enter_context(broker())
        until(lambda: engines.running_watches(folders.sessions_folder()))
        folder = engines.running_watches(folders.sessions_folder())[0][0]
        evening = Evening(scratch, folder, watch, server)
        time.sleep(WARM_UP_S)
        print(f"{given.tracks} tracks at {RATE_HZ} Hz, PortAudio", flush=True)
        for _ in range(given.rounds):
            print(f"alone     {figures(evening, given.seconds, {})}", flush=True)
            with all_at_once(evening) as beside:
                time.sleep(WARM_UP_S)
                parts = {"page": beside.page, "publisher": beside.publisher}
                parts |= {"overview": beside.overview.process.pid}
                print(f"with all  {figures(evening, given.seconds, parts)}", flush=True)
        if not given.no_kills:
            evening.watch.news()
            kills(evening)
        broken = [line for line in evening.watch.news() if re.search("Traceback", line)]
        return 1 if broken else 0


if __name__ == "__main__":
    raise SystemExit(main())

"""How a live watch stands the worst: tries of one kind each, with what was told and when.

    python -m tests.benchmarks.survival stops [--tries 20] [--longest 5]
    python -m tests.benchmarks.survival moved [--tries 20]
    python -m tests.benchmarks.survival jack [--tries 10]

stops: the engine, its recording process or both are stopped (SIGSTOP) for 0.3 s to `longest`;
prints how far stream time is from the clock afterwards. moved: the interface goes and the sound
server moves the stream to another microphone. jack: a JACK server is killed and started anew.
Needs what `tests.support.sound_server` names, and `jackd2` for the last.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psutil

from engine.model.commands import Open, Stop
from engine.model.messages import Fault, Snapshot
from engine.runtime.client import EngineClient
from engine.session import engines
from engine.session.reader import SessionReader
from tests.support.signals import noise
from tests.support.sound_server import DEVICE, SoundServer, sound_server

RATE_HZ = 48_000
PLAN = "".join(f"[[track]]\ninput = {n}\n" for n in range(1, 9))


class LiveWatch:
    """A watch of a live input by an engine process."""

    def __init__(self, request: Open) -> None:
        self.client = EngineClient(request, "terminal")
        self.shot: Snapshot | None = None
        self.until(lambda shot: shot.now_s > 2.0)

    def until(self, fits: Callable[[Snapshot], bool], seconds: float = 30.0) -> float:
        """Wait for a snapshot that fits; returns how long it took, s; raises TimeoutError."""
        begun = time.monotonic()
        while time.monotonic() - begun < seconds:
            self.shot = self.client.latest() or self.shot
            if self.shot is not None and fits(self.shot):
                return time.monotonic() - begun
            time.sleep(0.005)
        raise TimeoutError(self.shot and self.shot.notice)

    def newest(self) -> Snapshot:
        """A snapshot that comes from now on."""
        self.client.latest()
        self.shot = None
        self.until(lambda shot: True)
        assert self.shot is not None
        return self.shot

    def behind_s(self) -> float:
        """How far stream time is behind the clock, up to a constant: the least of a second."""
        end, least = time.monotonic() + 1.0, float("inf")
        while time.monotonic() < end:
            shot = self.newest()
            least = min(least, shot.heard_at - shot.now_s)
        return least

    @property
    def engine(self) -> psutil.Process:
        """The process that watches."""
        running = engines.running_in(self.client.folder)
        assert running is not None
        return psutil.Process(running.pid)

    @property
    def capture(self) -> psutil.Process:
        """The process that records."""
        children = self.engine.children()
        return next(c for c in children if "engine.sources.capture" in c.cmdline())

    def reasons(self) -> list[tuple[float, str]]:
        """Audio lost so far, as the log has it: how long, why."""
        with SessionReader(self.client.folder) as log:
            return [(gap.lost_s, gap.reason) for gap in log.gaps("audio")]

    def close(self) -> None:
        """End it."""
        self.client.send(Stop())
        self.client.close()


def lost(shot: Snapshot) -> bool:
    """The input is lost and not back."""
    faults = [a.incident for a in shot.alarms if a.incident.fault is Fault.INPUT_LOST]
    return any(incident.end_s is None for incident in faults)


@contextmanager
def pulse_watch() -> Iterator[tuple[SoundServer, LiveWatch]]:
    """A watch of eight tracks of a sound server's input."""
    with tempfile.TemporaryDirectory() as home, sound_server(8, RATE_HZ) as server:
        os.environ.update(server.env)
        os.environ["XDG_DATA_HOME"] = home
        (Path(home) / "plan.toml").write_text(PLAN)
        server.play(noise(-40.0, 600.0, RATE_HZ, tracks=8))
        watch = LiveWatch(Open(device=DEVICE, plan=f"{home}/plan.toml"))
        try:
            yield server, watch
        finally:
            watch.close()


def stops(tries: int, longest_s: float) -> None:
    """Stop processes at random, and hold stream time against the clock each time."""
    rng = random.Random(5)
    errors, amounts = [], []
    with pulse_watch() as (_, watch):
        time.sleep(2.0)
        before_s = watch.behind_s()
        for number in range(tries):
            length_s = rng.uniform(0.3, longest_s)
            what = rng.choice(["engine", "capture", "both"])
            processes = {
                "engine": [watch.engine],
                "capture": [watch.capture],
                "both": [watch.engine, watch.capture],
            }[what]
            lost_s = watch.newest().audio_lost_s
            for process in processes:
                process.suspend()
            time.sleep(length_s)
            for process in processes:
                with suppress(psutil.NoSuchProcess):  # the engine has begun another one
                    process.resume()
            time.sleep(2.5)
            after_s = watch.behind_s()
            told_s = watch.newest().audio_lost_s - lost_s
            errors.append(after_s - before_s)
            amounts.append(told_s)
            print(
                f"{number + 1:3} {what:<8} stopped {length_s:5.2f} s, told {told_s:5.2f} s lost, "
                f"stream time off by {errors[-1]:+.3f} s",
                flush=True,
            )
        time.sleep(1.5)
        reasons = {reason for _, reason in watch.reasons()}
    steps = [b - a for a, b in zip([0.0, *errors], errors, strict=False)]
    print(f"worst step {max(map(abs, steps)):.3f} s, worst sum {max(map(abs, errors)):.3f} s")
    print("named:", *sorted(reasons), sep="\n  ")


def moved(tries: int) -> None:
    """Take the interface away while another microphone is there, and give it back."""
    lost_s, back_s, foreign_s = [], [], []
    sound = noise(-40.0, 60.0, RATE_HZ, tracks=8)
    with pulse_watch() as (server, watch):
        server.add_output("laptop")
        subprocess.run(
            ["pactl", "set-default-source", "laptop.monitor"], env=server.env, check=True
        )
        for number in range(tries):
            begun = time.monotonic()
            server.unplug()
            watch.until(lost)
            lost_s.append(time.monotonic() - begun)
            end = time.monotonic() + 2.0
            while time.monotonic() < end:  # it must stay lost, whatever the laptop delivers
                if not lost(watch.newest()):
                    foreign_s.append(number)
            begun = time.monotonic()
            server.plug_in()
            server.play(sound)
            watch.newest()
            watch.until(lambda shot: not lost(shot) and bool(shot.present.all()))
            back_s.append(time.monotonic() - begun)
            time.sleep(1.0)
            print(
                f"{number + 1:3} told after {lost_s[-1]:.2f} s, back after {back_s[-1]:.2f} s",
                flush=True,
            )
    print(f"told: median {statistics.median(lost_s):.2f} s, worst {max(lost_s):.2f} s")
    print(f"back: median {statistics.median(back_s):.2f} s, worst {max(back_s):.2f} s")
    print(f"another microphone taken for it: {len(foreign_s)}")


def jack(tries: int) -> None:
    """Kill a JACK server and start it anew; the watch's engine must live on."""
    if shutil.which("jackd") is None:
        sys.exit("apt install jackd2")
    command = ["jackd", "--no-realtime", "-d", "dummy", "-C", "64", "-r", str(RATE_HZ)]

    def start() -> subprocess.Popen[bytes]:
        server = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        for _ in range(100):
            probe = subprocess.run(["jack_lsp"], capture_output=True)
            if probe.returncode == 0:
                return server
            time.sleep(0.1)
        raise RuntimeError("jackd does not start")

    lost_s, back_s = [], []
    with tempfile.TemporaryDirectory() as home:
        os.environ["XDG_DATA_HOME"] = home
        os.environ["JACK_NO_START_SERVER"] = "1"
        server = start()
        watch = LiveWatch(Open(device="JACK"))
        pid = watch.engine.pid
        try:
            for number in range(tries):
                os.killpg(server.pid, signal.SIGKILL)
                server.wait()
                lost_s.append(watch.until(lost))
                time.sleep(1.0)
                server = start()
                back_s.append(watch.until(lambda shot: not lost(shot)))
                assert watch.engine.pid == pid, "another engine"
                print(
                    f"{number + 1:3} told {lost_s[-1]:.2f} s, back {back_s[-1]:.2f} s", flush=True
                )
                time.sleep(1.0)
        finally:
            watch.close()
            with suppress(ProcessLookupError):
                os.killpg(server.pid, signal.SIGKILL)
            server.wait()
    print(f"told: worst {max(lost_s):.2f} s; back: worst {max(back_s):.2f} s; one engine all along")


def main() -> None:
    """Run the tries that are asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    commands = parser.add_subparsers(dest="command", required=True)
    for name, tries in (("stops", 20), ("moved", 20), ("jack", 10)):
        one = commands.add_parser(name)
        one.add_argument("--tries", type=int, default=tries)
        if name == "stops":
            one.add_argument("--longest", type=float, default=5.0)
    asked = parser.parse_args()
    if asked.command == "stops":
        stops(asked.tries, asked.longest)
    elif asked.command == "moved":
        moved(asked.tries)
    else:
        jack(asked.tries)


if __name__ == "__main__":
    main()

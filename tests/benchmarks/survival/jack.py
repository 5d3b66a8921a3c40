"""A JACK server is killed and started anew, while one engine watches its input.

    python -m tests.benchmarks.survival jack [--tries 10]

Needs `jackd2`.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress

from engine.model.commands import Open
from tests.benchmarks.survival.live_watch import RATE_HZ, LiveWatch, lost


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
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=10)
    jack(parser.parse_args().tries)

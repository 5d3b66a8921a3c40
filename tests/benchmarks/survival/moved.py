"""The interface goes, and the sound server moves its stream to another microphone.

    python -m tests.benchmarks.survival moved [--tries 20]

Needs what `tests.support.sound_server` names.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import time

from tests.benchmarks.survival.live_watch import RATE_HZ, lost, pulse_watch
from tests.support.signals import noise


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


def main() -> None:
    """Run the tries that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=20)
    moved(parser.parse_args().tries)

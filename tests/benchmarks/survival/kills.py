"""The engine of a watch is killed again and again while a sound server delivers eight tracks.

    python -m tests.benchmarks.survival kills [--tries 20]

Prints after how long the watch went on, by how much stream time is then off against the steady
clock, and every alarm that was told in the night: a restart itself loses audio, and nothing else
may be told of it. Needs what `tests.support.sound_server` names.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter

from engine.session.reader import SessionReader
from tests.benchmarks.survival.live_watch import LiveWatch, pulse_watch

SETTLE_S = 5.0


def kills(tries: int, seed: int) -> None:
    """Kill it at random times; what was told is read from the log at the end."""
    rng, off_s = random.Random(seed), []
    with pulse_watch() as (_, watch):
        time.sleep(SETTLE_S)
        before_s = watch.behind_s()
        for number in range(tries):
            time.sleep(rng.uniform(0.0, 1.0))
            back_s = kill_once(watch)
            time.sleep(SETTLE_S)
            off_s.append(watch.behind_s() - before_s)
            print(f"{number + 1:3} back {back_s:.2f} s, off by {off_s[-1]:+.3f} s", flush=True)
        with SessionReader(watch.client.folder) as log:
            faults = Counter(incident.fault.value for incident in log.incidents())
            lost = [gap.lost_s for gap in log.gaps("audio")]
    print(
        f"off by at most {max(map(abs, off_s)):.3f} s; lost {sum(lost):.1f} s in {len(lost)} gaps"
    )
    print("told:", *(f"{fault} {times}" for fault, times in sorted(faults.items())))


def kill_once(watch: LiveWatch) -> float:
    """Kill the engine; how long it took until another one measured, s."""
    pid, begun = watch.engine.pid, time.monotonic()
    watch.engine.kill()
    while True:
        watch.newest()
        try:
            if watch.engine.pid != pid and watch.shot is not None and watch.shot.present.all():
                return time.monotonic() - begun
        except AssertionError:  # nobody watches yet
            time.sleep(0.02)


def main() -> None:
    """Run the tries that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=20)
    parser.add_argument("--seed", type=int, default=3)
    asked = parser.parse_args()
    kills(asked.tries, asked.seed)


if __name__ == "__main__":
    main()

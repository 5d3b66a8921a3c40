"""A JACK client whose outputs play a take for ever; PortAudio lists it as an input by its name.

    python -m tests.benchmarks.screen.jack_player NAME RAW TRACKS

RAW holds 16-bit samples. Needs JACK-Client from the index.
"""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import numpy as np


def play(name: str, raw: Path, tracks: int) -> None:
    """Play until the server goes."""
    import jack  # a dependency of this one benchmark

    take = np.memmap(raw, dtype="<i2").reshape(-1, tracks)
    client = jack.Client(name, no_start_server=True)
    ports = [client.outports.register(f"out_{n + 1}") for n in range(tracks)]
    gone, at = threading.Event(), 0

    def process(frames: int) -> None:
        nonlocal at
        block = take.take(range(at, at + frames), axis=0, mode="wrap") / np.float32(32768.0)
        at = (at + frames) % len(take)
        for track, port in enumerate(ports):
            port.get_array()[:] = block[:, track]

    client.set_process_callback(process)
    client.set_shutdown_callback(lambda status, reason: gone.set())
    with client:
        print("plays", flush=True)
        gone.wait()


if __name__ == "__main__":
    play(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))

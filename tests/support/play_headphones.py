"""Listen to one of two tones for some seconds, in a process of its own; run by test_listen.py."""

from __future__ import annotations

import sys
import time

import numpy as np

from engine.listen.output import Listener
from engine.listen.ring import Ring
from engine.model.commands import Listen, ListenDevice, StopListening
from tests.support.signals import sine

RATE_HZ = 48_000


def main(track: int, seconds: float) -> None:
    """Play until the time is over, then stop in good order."""
    ring = Ring((1, 2), RATE_HZ)
    take = np.concatenate([sine(-6.0, 20.0, RATE_HZ, hz) for hz in (440.0, 1_000.0)], axis=1)
    ring.put(take, len(take))
    listener = Listener(ring, {1: 2, 2: 1}.get)
    listener.ask(ListenDevice("headphones"))
    listener.ask(Listen(track, 5.0))
    end = time.monotonic() + 10.0
    while listener._output is None and time.monotonic() < end:
        time.sleep(0.01)
    time.sleep(seconds)
    listener.ask(StopListening())
    while listener._output is not None and time.monotonic() < end:
        time.sleep(0.01)
    time.sleep(0.5)
    problem = listener.state().problem
    listener.close()
    sys.exit(problem or 0)


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]))

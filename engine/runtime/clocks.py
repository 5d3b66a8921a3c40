"""How long the computer slept, which the steady clock of this program does not count."""

from __future__ import annotations

import sys
import time


def suspended_s() -> float:
    """Seconds that the computer has spent asleep since it was started; grows by each sleep.

    Linux: CLOCK_BOOTTIME counts them, CLOCK_MONOTONIC does not (clock_gettime(2)). macOS:
    CLOCK_MONOTONIC_RAW counts them, CLOCK_UPTIME_RAW does not (clock_gettime(3)). Windows: 0, for
    there Python's steady clock counts them itself (GetTickCount64), and a sleep is lost audio.
    """
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC)
    if sys.platform == "darwin":
        counting = time.clock_gettime(time.CLOCK_MONOTONIC_RAW)
        return counting - time.clock_gettime(time.CLOCK_UPTIME_RAW)
    return 0.0

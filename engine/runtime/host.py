"""What a runner needs of the world around it: clocks, sources, and its own share of the machine."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from engine.listen.output import OpenOutput, PortAudioOutput
from engine.model.commands import Open
from engine.runtime import open_source as opening
from engine.session.checkpoint import Checkpoint
from engine.sources.base import Source, SourceInfo
from engine.system import platform_calls

LOAD_WINDOW_S: Final = 1.0


def _time_of_day_s() -> float:
    now = datetime.now()
    return now.hour * 3600 + now.minute * 60 + now.second + now.microsecond / 1e6


@dataclass(frozen=True, slots=True)
class Host:
    """What a runner needs of the world around it; tests pass their own.

    clock : seconds on a steady scale, the same for all processes of one boot
    sleep : waits so many seconds
    utc_ms : wall clock, milliseconds since 1970; for display alone
    day_s : time of day, s
    boot : names this boot of the machine, "" where unknown
    version : of this program
    suspended_s : how long the computer slept since its start, see `engine.system.platform_calls`
    open_source, open_again : see `engine.runtime.open_source`
    open_output : the headphones, see `engine.listen.output`
    """

    clock: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    utc_ms: Callable[[], int] = lambda: time.time_ns() // 1_000_000
    day_s: Callable[[], float] = _time_of_day_s
    boot: str = ""
    version: str = ""
    suspended_s: Callable[[], float] = platform_calls.suspended_s
    open_source: Callable[[Open], Source] = opening.open_source
    open_again: Callable[[SourceInfo], Source] = opening.open_again
    open_output: OpenOutput = PortAudioOutput


class Load:
    """The share of one core that this process uses, over the last second or so."""

    def __init__(self, now: float) -> None:
        self.share = 0.0
        self._at, self._cpu_s = now, time.process_time()

    def update(self, now: float) -> None:
        """Look again, once a second or so."""
        if now - self._at >= LOAD_WINDOW_S:
            cpu_s = time.process_time()
            self.share = (cpu_s - self._cpu_s) / (now - self._at)
            self._at, self._cpu_s = now, cpu_s


def away_s(checkpoint: Checkpoint, host: Host) -> float:
    """How long nobody watched, s; over a boot of the machine only the wall clock can tell."""
    if checkpoint.boot and checkpoint.boot == host.boot:
        return max(host.clock() + host.suspended_s() - checkpoint.steady_s, 0.0)
    return max((host.utc_ms() - checkpoint.utc_ms) / 1000.0, 0.0)

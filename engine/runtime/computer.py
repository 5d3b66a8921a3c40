"""What may end the watch from below: battery, disk, load, heat; and keeping the computer awake.

Looked at every few seconds on a thread of its own, for a reading may take its time. What is told is
one line each, for the crew to act on; which figure is too much is ours.
"""

from __future__ import annotations

import importlib
import shutil
import threading
import traceback
from collections.abc import Callable
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any, Final

LOOK_S: Final = 5.0

ROOM_S: Final = 3600.0
"""A disk with room for less of the log than this is told. Ours."""

LEAST_BYTES_PER_S: Final = 2_000.0
"""What the log of 32 tracks takes, measured; until its own growth is known. Ours."""

LATE_S: Final = 0.5
"""So much audio waiting for the engine is late. Ours."""

BUSY_PERCENT: Final = 85.0
HOT_MARGIN_C: Final = 5.0
"""So near to the temperature at which the maker lets a part slow down. Ours."""

LEAST_LIMIT_C: Final = 40.0
"""No part slows down on a summer's day: a limit below is none, or misread. Ours."""


class Computer:
    """The computer that a live watch runs on.

    Parameters
    ----------
    log : Path
        The session's log.
    waiting_s : callable
        Audio that waits for the engine now, s.
    clock : callable
        Seconds on a steady scale.
    system : optional
        psutil, or what stands in for it.
    """

    def __init__(
        self,
        log: Path,
        waiting_s: Callable[[], float],
        clock: Callable[[], float],
        system: Any = None,
    ) -> None:
        self._log, self._waiting_s, self._clock = log, waiting_s, clock
        self._system = system or importlib.import_module("psutil")  # a replay does not load it
        self._begun = (clock(), self._log_bytes())
        self._awake = ExitStack()
        self._asleep_problem = ""
        self._over = threading.Event()
        self.problems: tuple[str, ...] = ()
        """What is about to fail and what to do, one line each; replaced as a whole."""

    def watch(self) -> None:
        """Keep the computer awake and look after it until `close`, on a thread of its own."""
        threading.Thread(target=self._run, name="computer", daemon=True).start()

    def close(self) -> None:
        """Let it sleep again."""
        self._over.set()

    def _run(self) -> None:
        self.keep_awake()
        try:
            while not self._over.wait(LOOK_S):
                self.look()
        finally:
            with suppress(Exception):
                self._awake.close()

    def keep_awake(self) -> None:
        """Ask the system not to fall asleep; a laptop that refuses is told."""
        try:
            from wakepy import keep

            mode = self._awake.enter_context(keep.running(on_fail="pass"))
            works = bool(mode.active)
        except Exception:
            traceback.print_exc()
            works = False
        if not works and self._battery() is not None:
            self._asleep_problem = "it may fall asleep: turn that off in its settings"

    def look(self) -> None:
        """Look at everything once; what can't be read says nothing."""
        lines = [self._asleep_problem]
        for ask in (self._on_battery, self._disk, self._load, self._heat):
            try:
                lines.append(ask())
            except Exception:  # a sensor that this system has not
                continue
        self.problems = tuple(line for line in lines if line)

    def _battery(self) -> Any:
        try:
            return self._system.sensors_battery()
        except Exception:
            return None

    def _on_battery(self) -> str:
        battery = self._battery()
        if battery is None or battery.power_plugged is not False:
            return ""
        charge = f"{battery.percent:.0f} %"
        if 0 < battery.secsleft < 1e6:
            charge += f", {_length(battery.secsleft)}"
        return f"runs on its battery ({charge} left): plug it in"

    def _log_bytes(self) -> int:
        total = 0
        for path in (self._log, self._log.with_name(self._log.name + "-wal")):
            with suppress(OSError):
                total += path.stat().st_size
        return total

    def _disk(self) -> str:
        begun_s, begun_bytes = self._begun
        passed_s = self._clock() - begun_s
        rate = (self._log_bytes() - begun_bytes) / passed_s if passed_s > 60.0 else 0.0
        room_s = shutil.disk_usage(self._log.parent).free / max(rate, LEAST_BYTES_PER_S)
        if room_s >= ROOM_S:
            return ""
        return f"its disk has room for {_length(room_s)} of log: delete what is not needed"

    def _load(self) -> str:
        busy = float(self._system.cpu_percent())
        late_s = self._waiting_s()
        if late_s < LATE_S or busy < BUSY_PERCENT:
            return ""
        return f"so busy ({busy:.0f} %) that audio waits {late_s:.1f} s: close other programs"

    def _heat(self) -> str:
        hottest = 0.0
        for sensors in self._system.sensors_temperatures().values():
            for sensor in sensors:
                limit_c = _limit_c(sensor.high or sensor.critical)
                if limit_c and sensor.current >= limit_c - HOT_MARGIN_C:
                    hottest = max(hottest, sensor.current)
        return f"hot ({hottest:.0f} °C), it slows down: give it air" if hottest else ""


def _limit_c(read: float | None) -> float:
    """A sensor's limit, degrees Celsius; 0 where it has none that makes sense.

    Of a thermal zone with several trip points psutil (7.2, `_pslinux.sensors_temperatures`) makes
    degrees of thousandths again with each: 105 becomes 0.105 and would always be exceeded.
    """
    limit_c = max(read or 0.0, 0.0)
    while 0.0 < limit_c < 1.0:
        limit_c *= 1000.0
    return limit_c if limit_c >= LEAST_LIMIT_C else 0.0


def _length(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02} min"

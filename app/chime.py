"""The chime: its two sounds as samples, when one is due, and the thread that plays it. No Qt.

IEC 60601-1-8 served as a model only (bursts of pulses with harmonics and a soft rise; three
pulses for the lesser priority, a five-note figure for the greater): this is no medical alarm and
claims no conformity.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from engine.model import Alarm, AlarmEvent, AlarmState, EventKind, Severity
from engine.units import amplitude

T = TypeVar("T")

RATE_HZ: Final = 48_000
REPEAT_S: Final = 10.0
"""Inside the 2.5 to 15 s between bursts that IEC 60601-1-8 has for its high priority."""
QUIET_S: Final = 120.0
HARMONICS: Final = (1.0, 0.42, 0.3, 0.2, 0.12)
"""Amplitudes of the fundamental and what stands over it, all within 20 dB and under 4 kHz."""
AMBER_NOTES: Final = ((523.25, 0.0), (659.26, 0.36), (523.25, 0.72))
RED_NOTES: Final = ((659.26, 0.0), (659.26, 0.22), (880.0, 0.44), (659.26, 0.82), (880.0, 1.04))
"""Hertz and start in seconds of each pulse; fundamentals lie between 150 and 1000 Hz."""
PULSE_S: Final = {Severity.AMBER: 0.24, Severity.RED: 0.16}


@dataclass(frozen=True, slots=True)
class ChimeSettings:
    """`output` is part of an output's name, empty for the system's default."""

    on: bool = True
    output: str = ""
    level_db: float = -18.0


def pulse(frequency_hz: float, length_s: float, rate_hz: int = RATE_HZ) -> NDArray[np.float64]:
    """One soft-edged tone with harmonics, peak at most 1; rises over 20 % of its length."""
    t = np.arange(round(length_s * rate_hz)) / rate_hz
    tone = np.zeros(len(t))
    for n, a in enumerate(HARMONICS, start=1):
        tone += a * np.sin(2 * np.pi * frequency_hz * n * t)
    rise = np.clip(t / (0.2 * length_s), 0.0, 1.0)
    fall = np.clip((length_s - t) / (0.5 * length_s), 0.0, 1.0)
    shape = np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2
    return np.asarray(tone * shape / sum(HARMONICS))


def sound(severity: Severity, level_db: float = 0.0, rate_hz: int = RATE_HZ) -> NDArray[np.float32]:
    """One burst as float32 samples, shape (frames,); its peak lies at `level_db` dBFS."""
    notes = RED_NOTES if severity is Severity.RED else AMBER_NOTES
    length_s = PULSE_S[severity]
    samples = np.zeros(round((notes[-1][1] + length_s) * rate_hz))
    for frequency_hz, start_s in notes:
        one = pulse(frequency_hz, length_s, rate_hz)
        first = round(start_s * rate_hz)
        samples[first : first + len(one)] += one[: len(samples) - first]
    peak = float(np.abs(samples).max())
    return (samples * (float(amplitude(level_db)) / peak)).astype(np.float32)


class Scheduler:
    """Decides when which sound is due. Pure: all times are passed in, on any one steady scale.

    Goes by the alarms that stand, not by events alone, since snapshots may be skipped.
    """

    def __init__(self) -> None:
        self._heard: dict[int, Severity] = {}
        self._mute: set[int] = set()
        self._last_red_s = -REPEAT_S
        self.quiet_until_s = 0.0

    def quiet(self, now_s: float, seconds: float = QUIET_S) -> None:
        """No chime for that long; 0 lets it sound again."""
        self.quiet_until_s = now_s + seconds

    def quiet_for(self, now_s: float) -> float:
        """Seconds of quiet left."""
        return max(0.0, self.quiet_until_s - now_s)

    def due(
        self, now_s: float, alarms: Iterable[Alarm], events: Sequence[AlarmEvent] = ()
    ) -> Severity | None:
        """The sound to play now, if any; to be asked with every snapshot."""
        wanted = [a for a in alarms if a.state is AlarmState.UNACKNOWLEDGED]
        for event in events:
            if event.kind in (EventKind.RAISED, EventKind.ESCALATED):
                put = self._mute.discard if event.audible else self._mute.add
                put(event.alarm.incident.id)
        self._mute.intersection_update(a.incident.id for a in wanted)
        fresh: Severity | None = None
        standing_red = False
        for alarm in wanted:
            one = alarm.incident
            worse = one.severity > self._heard.get(one.id, 0)
            told = alarm.unstable and one.id in self._heard
            if worse and one.id not in self._mute and not told:
                fresh = max(one.severity, fresh or one.severity)
            standing_red |= one.severity is Severity.RED and one.id not in self._mute
        self._heard = {a.incident.id: a.incident.severity for a in wanted}
        if standing_red and self._red_again(now_s):
            fresh = Severity.RED
        return self._let(now_s, fresh)

    def due_unwatched(self, now_s: float) -> Severity | None:
        """The sound while nothing is being watched: as for a red not yet seen."""
        return self._let(now_s, Severity.RED if self._red_again(now_s) else None)

    def due_stopped(self, now_s: float) -> Severity | None:
        """The sound of a watch that has just stopped, however lately a red was heard."""
        return self._let(now_s, Severity.RED)

    def due_log(self, now_s: float) -> Severity | None:
        """The sound of a log that can't be saved any more."""
        return self._let(now_s, Severity.AMBER)

    def _red_again(self, now_s: float) -> bool:
        return now_s - self._last_red_s >= REPEAT_S

    def _let(self, now_s: float, wanted: Severity | None) -> Severity | None:
        if self.quiet_for(now_s) > 0:
            return None
        if wanted is Severity.RED:
            self._last_red_s = now_s
        return wanted


class Player:
    """Plays sounds on a thread of its own, so that a slow or missing device holds nobody up.

    `problem` is called on that thread with one clear line, once until a sound has played again.
    """

    def __init__(self, problem: Callable[[str], None]) -> None:
        self._problem = problem
        self._told = False
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def play(self, severity: Severity, settings: ChimeSettings) -> None:
        """Play one burst; returns at once."""
        self._later(lambda: self._sound(severity, settings))

    def ask(self, work: Callable[[], T], answer: Callable[[T], None]) -> None:
        """Do other work with the audio system on the same thread; `answer` is called there too."""
        self._later(lambda: answer(work()))

    def close(self, wait_s: float = 3.0) -> None:
        """Let the last sound end, then stop the thread."""
        if self._thread is not None:
            self._jobs.put(None)
            self._thread.join(wait_s)
            self._thread = None

    def _later(self, job: Callable[[], None]) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="chime", daemon=True)
            self._thread.start()
        self._jobs.put(job)

    def _run(self) -> None:
        while (job := self._jobs.get()) is not None:
            try:
                job()
            except Exception as error:  # whatever a driver does, the watch goes on
                if not self._told:
                    self._told = True
                    self._problem(" ".join(str(error).split()) or type(error).__name__)

    def _sound(self, severity: Severity, settings: ChimeSettings) -> None:
        import sounddevice  # loading it starts the machine's audio system: only when needed

        samples = sound(severity, settings.level_db)
        with sounddevice.OutputStream(
            samplerate=RATE_HZ, channels=1, dtype="float32", device=_output(settings.output)
        ) as stream:
            stream.write(samples.reshape(-1, 1))
        self._told = False


def _output(name: str) -> int | None:
    """Index of the output of that very name; None for the default."""
    import sounddevice  # see above

    if not name:
        return None
    for device in sounddevice.query_devices():
        if device["name"] == name and device["max_output_channels"] > 0:
            return int(device["index"])
    raise OSError(f"the output {name} is not there")


def output_names() -> list[str]:
    """Names of all outputs; starts the audio system, so ask on the player's thread."""
    import sounddevice  # see above

    names = [d["name"] for d in sounddevice.query_devices() if d["max_output_channels"] > 0]
    return list(dict.fromkeys(names))

"""The chime: its sounds as samples, and the thread that plays them. No Qt.

IEC 60601-1-8 served as a model only (bursts of pulses with harmonics and a soft rise; three
pulses for the lesser priority, a five-note figure for the greater): this is no medical alarm and
claims no conformity.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from engine.model.units import amplitude

T = TypeVar("T")

RATE_HZ: Final = 48_000
HARMONICS: Final = (1.0, 0.42, 0.3, 0.2, 0.12)
"""Amplitudes of the fundamental and its harmonics, all under 4 kHz; the largest four lie within the
15 dB of IEC 60601-1-8 with Amendment 1."""


class Sound(Enum):
    """What can be heard, the more urgent the larger."""

    BACK = 1
    AMBER = 2
    RED = 3
    UNCOVERED = 4


_FIGURE: Final = ((587.33, 0.0), (880.0, 0.17), (587.33, 0.34), (880.0, 0.6), (587.33, 0.77))
NOTES: Final = {
    Sound.BACK: ((659.26, 0.0), (440.0, 0.3)),
    Sound.AMBER: ((523.25, 0.0), (659.26, 0.36), (523.25, 0.72)),
    Sound.RED: ((659.26, 0.0), (659.26, 0.22), (880.0, 0.44), (659.26, 0.82), (880.0, 1.04)),
    Sound.UNCOVERED: (*_FIGURE, *((hz, 1.2 + at_s) for hz, at_s in _FIGURE)),
}
"""Hertz and start in seconds of each pulse; fundamentals lie between 150 and 1000 Hz. Uncovered is
a figure played twice, leaping up and down; back to normal falls."""
PULSE_S: Final = {Sound.BACK: 0.28, Sound.AMBER: 0.24, Sound.RED: 0.16, Sound.UNCOVERED: 0.12}


@dataclass(frozen=True, slots=True)
class ChimeSettings:
    """How the chime sounds.

    on : False where nobody wants it
    output : an output's name, empty for the system's default
    level_db : of its peak, dBFS
    confirmed : somebody has heard it on that very output; until then it stays silent, since the
        system's default may be a loudspeaker beside open mics
    """

    on: bool = True
    output: str = ""
    level_db: float = -18.0
    confirmed: bool = False


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


def burst(sound: Sound, level_db: float = 0.0, rate_hz: int = RATE_HZ) -> NDArray[np.float32]:
    """One burst as float32 samples, shape (frames,); its peak lies at `level_db` dBFS."""
    notes, length_s = NOTES[sound], PULSE_S[sound]
    samples = np.zeros(round((notes[-1][1] + length_s) * rate_hz))
    for frequency_hz, start_s in notes:
        one = pulse(frequency_hz, length_s, rate_hz)
        first = round(start_s * rate_hz)
        samples[first : first + len(one)] += one[: len(samples) - first]
    peak = float(np.abs(samples).max())
    return (samples * (float(amplitude(level_db)) / peak)).astype(np.float32)


class Player:
    """Plays sounds on a thread of its own, so that a slow or missing device holds nobody up.

    `problem` is called on that thread with one clear line, once until a sound has played again.
    """

    def __init__(self, problem: Callable[[str], None]) -> None:
        self._problem = problem
        self._told = False
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def play(self, sound: Sound, settings: ChimeSettings) -> None:
        """Play one burst; returns at once."""
        self._later(lambda: self._sound(sound, settings))

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

    def _sound(self, sound: Sound, settings: ChimeSettings) -> None:
        import sounddevice  # loading it starts the machine's audio system: only when needed

        samples = burst(sound, settings.level_db)
        with sounddevice.OutputStream(
            samplerate=RATE_HZ, channels=1, dtype="float32", device=_output(settings.output)
        ) as stream:
            stream.write(samples.reshape(-1, 1))
        self._told = False


def _output(name: str) -> int | None:
    """Index of the output of that very name; None for the default."""
    import sounddevice  # see above

    outputs = [d for d in sounddevice.query_devices() if d["max_output_channels"] > 0]
    if not outputs:
        raise OSError("no output found")
    if not name:
        return None
    for device in outputs:
        if device["name"] == name:
            return int(device["index"])
    raise OSError(f"the output {name} is not there")


def output_names() -> list[str]:
    """Names of all outputs; starts the audio system, so ask on the player's thread."""
    import sounddevice  # see above

    names = [d["name"] for d in sounddevice.query_devices() if d["max_output_channels"] > 0]
    return list(dict.fromkeys(names))

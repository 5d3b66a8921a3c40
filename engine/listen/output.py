"""Plays the mix on a headphone output, from a thread of its own: no device can hold up the watch.

Nothing is opened until somebody listens, and the output is let go of when they stop.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray

from engine.listen.mix import Mix
from engine.listen.ring import Ring
from engine.model.commands import Listen, ListenDevice, ListenLevel, StopListening, SwitchPack
from engine.model.listening import FIRST_LEVEL_DB, LIMIT_DB, Listening
from engine.model.messages import Samples

BLOCK_S: Final = 0.02
LATENCY_S: Final = 0.15
"""Asked of the output: a busy machine must not make it crackle."""

Asked = Listen | ListenLevel | ListenDevice | StopListening | SwitchPack
ASKED: Final = (Listen, ListenLevel, ListenDevice, StopListening, SwitchPack)


NO_DEVICE: Final = "querying device -1"
"""What the audio library says where there is no default output."""


class Output(Protocol):
    """Where the sound goes; `write` takes mono frames, shape (frames,), and waits for room."""

    rate_hz: int

    def write(self, sound: NDArray[np.float32]) -> None:
        """Play it: float32, shape (frames, 2); waits while the device is full."""
        ...

    def close(self) -> None:
        """Stop and let go of the device."""
        ...


class PortAudioOutput:
    """An output by part of its name ("" for the default), at that rate if it can.

    Raises
    ------
    OSError
        Where it is not there or can't be opened; one line.
    """

    def __init__(self, name: str, rate_hz: int) -> None:
        import sounddevice as sd  # loading it starts the machine's audio system: only when needed

        try:
            index = _output(sd, name)
            found = sd.query_devices(index, "output")
            self._channels = min(2, int(found["max_output_channels"]))
            self.rate_hz = rate_hz
            try:
                self._stream = self._open(sd, index)
            except sd.PortAudioError:
                self.rate_hz = round(found["default_samplerate"])
                self._stream = self._open(sd, index)
        except (sd.PortAudioError, ValueError) as error:
            raise OSError(" ".join(str(error).split())) from error

    def _open(self, sd: Any, index: int | None) -> Any:
        stream = sd.OutputStream(
            samplerate=self.rate_hz,
            channels=self._channels,
            dtype="float32",
            device=index,
            latency=LATENCY_S,
        )
        try:
            stream.start()
        except BaseException:
            stream.close()
            raise
        return stream

    def write(self, sound: NDArray[np.float32]) -> None:
        """Play it on both ears; OSError where the output is gone."""
        import sounddevice as sd

        try:
            self._stream.write(np.repeat(sound[:, None], self._channels, axis=1))
        except sd.PortAudioError as error:
            raise OSError(" ".join(str(error).split())) from error

    def close(self) -> None:
        """Let go of it."""
        with suppress(Exception):  # whatever a driver does on its way out
            self._stream.close(ignore_errors=True)


def _output(sd: Any, name: str) -> int | None:
    if not name:
        return None
    for device in sd.query_devices():
        if device["name"] == name and device["max_output_channels"] > 0:
            return int(device["index"])
    raise OSError(f"the output {name} is not there: choose another")


OpenOutput = Callable[[str, int], Output]
"""Given the output's name and the rate wished for."""


class Listener:
    """The headphones of one watch. No call waits; `state` says how it stands.

    Parameters
    ----------
    ring : Ring
    other : callable
        Input number of the other pack of the same `who`, None where there is none.
    open_output : callable
    """

    def __init__(
        self,
        ring: Ring,
        other: Callable[[int], int | None],
        open_output: OpenOutput = PortAudioOutput,
    ) -> None:
        self._ring = ring
        self._other = other
        self._open = open_output
        self._asked: queue.SimpleQueue[Asked | Ring | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._device = ""
        self._levels = (FIRST_LEVEL_DB, LIMIT_DB)
        self._mix: Mix | None = None
        self._output: Output | None = None
        self._problem = ""

    # ---- from the watch's thread -------------------------------------------------------------

    def ask(self, asked: Asked) -> None:
        """Pass on what the crew wants to hear."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="listen", daemon=True)
            self._thread.start()
        self._asked.put(asked)

    def put(self, samples: Samples, end_frame: int) -> None:
        """Keep audio that ends at that stream frame; see `Ring.put`."""
        self._ring.put(samples, end_frame)

    def change(self, inputs: Sequence[int], other: Callable[[int], int | None]) -> None:
        """The plan has changed: other inputs, other pairs."""
        self._other = other
        if set(inputs) != set(self._ring.inputs):
            self._ring = self._ring.with_inputs(inputs)
            if self._thread is not None:
                self._asked.put(self._ring)

    def state(self) -> Listening:
        """How it stands now."""
        mix = self._mix
        voice = None if mix is None else mix.voice
        rate_hz = self._ring.sample_rate_hz
        level_db, limit_db = self._levels if mix is None else (mix.level_db, mix.limit_db)
        if mix is None or voice is None:
            return Listening(
                level_db=level_db,
                limit_db=limit_db,
                kept_s=self._ring.seconds,
                problem=self._problem,
            )
        return Listening(
            voice.track,
            mix.at_frame / rate_hz,
            voice.live,
            level_db,
            limit_db,
            voice.match_db,
            self._ring.seconds,
            self._problem,
        )

    def close(self, wait_s: float = 1.0) -> None:
        """Let go of the output; does not wait longer for a driver that hangs."""
        if self._thread is not None:
            self._asked.put(None)
            self._thread.join(wait_s)
            self._thread = None

    # ---- on the thread of its own ------------------------------------------------------------

    def _run(self) -> None:
        try:
            goes_on = True
            while goes_on:
                try:
                    goes_on = self._obey()
                    self._play()
                except Exception as error:  # whatever a driver does, the watch goes on
                    self._let_go()
                    self._problem = _why(error)
        finally:
            self._let_go()

    def _obey(self) -> bool:
        """Do what was asked meanwhile; waits for something to do. False when it is over."""
        while True:
            try:
                asked = self._asked.get(self._mix is None)
            except queue.Empty:
                return True
            if asked is None:
                return False
            self._heed(asked)

    def _heed(self, asked: Asked | Ring) -> None:
        mix = self._mix
        match asked:
            case Listen(track, from_s, match_db):
                if not self._ring.holds(track):
                    self._problem = f"input {track} is not in the plan"
                    return
                self._problem = ""
                if mix is None:
                    mix = self._mix = Mix(self._ring, self._ring.sample_rate_hz)
                    mix.set_level(*self._levels)
                rate_hz = self._ring.sample_rate_hz
                from_frame = None if from_s is None else round(from_s * rate_hz)
                mix.listen(track, from_frame, match_db)
            case SwitchPack() if mix is not None and mix.voice is not None:
                other = self._other(mix.voice.track)
                if other is not None and self._ring.holds(other):
                    mix.switch(other)
            case ListenLevel(level_db, limit_db):
                self._levels = (FIRST_LEVEL_DB, limit_db)
                if mix is not None:
                    mix.set_level(level_db, limit_db)
            case ListenDevice(name) if name != self._device:
                self._device = name
                self._reopen()
            case StopListening() if mix is not None:
                mix.stop()
            case Ring() if mix is not None:
                mix.ring = asked
                if mix.voice is not None and not asked.holds(mix.voice.track):
                    mix.stop()

    def _play(self) -> None:
        if self._mix is None:
            return
        if self._output is None:
            self._output = self._open(self._device, self._ring.sample_rate_hz)
            if self._output.rate_hz != self._mix.rate_hz:
                self._mix = self._mix.at_rate(self._output.rate_hz)
        self._output.write(self._mix.render(round(BLOCK_S * self._output.rate_hz)))
        if self._mix.silent:
            self._let_go()

    def _reopen(self) -> None:
        """Go to another output, beginning softly there."""
        if self._output is not None:
            self._output.close()
            self._output = None
        if self._mix is not None:
            self._mix = self._mix.at_rate(self._mix.rate_hz)

    def _let_go(self) -> None:
        mix, output = self._mix, self._output
        self._mix = self._output = None
        if mix is not None:
            self._levels = (FIRST_LEVEL_DB, mix.limit_db)
        if output is not None:
            output.close()


def _why(error: Exception) -> str:
    words = " ".join(str(error).split()) or type(error).__name__
    if NO_DEVICE in words:
        return "no sound output found: connect one, then try again"
    return words

"""Live input through PortAudio.

The audio thread's callback copies the block into memory set aside beforehand and returns; it
never waits, and what goes wrong in it is kept for the worker to report. `sounddevice` is imported
where it is used, because that import fails where PortAudio is missing.
"""

from __future__ import annotations

import re
import threading
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

from engine.model.messages import Block, Samples
from engine.sources.base import HOST_API, SourceError, SourceInfo
from engine.sources.block_queue import BlockQueue

QUEUE_S: Final = 2.0
"""Audio that may wait for a busy worker before it counts as lost."""
LATENCY_S: Final = 0.2
"""Asked of PortAudio: a watch can wait this long, and a busy machine then loses nothing."""
POLL_S: Final = 0.02
_MAX_BLOCK_S: Final = 1.0
_SMOOTHING: Final = 0.02
"""Share by which each callback corrects the stream's clock; evens out the jitter of one call."""

NO_INPUTS: Final = "no live input: plug the interface in, check its driver, then try again"
_CARD: Final = re.compile(r" \(hw:\d+,\d+\)$")
_NO_PORTAUDIO: Final = (
    "live inputs need PortAudio, which is missing here: on Debian or Ubuntu run "
    "`apt install libportaudio2`"
)


@dataclass(frozen=True, slots=True)
class InputDevice:
    """One live input as PortAudio lists it."""

    index: int
    name: str
    host_api: str
    channels: int
    default_rate_hz: int


def _portaudio() -> Any:
    try:
        import sounddevice
    except OSError as error:
        raise SourceError(_NO_PORTAUDIO) from error
    return sounddevice


def list_inputs() -> tuple[InputDevice, ...]:
    """Every device that has an input, in PortAudio's order; SourceError without PortAudio.

    PortAudio looks once, when this process first asks: see `engine.sources.capture`.
    """
    sd = _portaudio()
    try:
        apis = sd.query_hostapis()
        devices = sd.query_devices()
    except sd.PortAudioError as error:
        raise SourceError(f"can't list the live inputs: {error}") from error
    return tuple(
        InputDevice(
            index=int(device["index"]),
            name=str(device["name"]),
            host_api=str(apis[device["hostapi"]]["name"]),
            channels=int(device["max_input_channels"]),
            default_rate_hz=round(device["default_samplerate"]),
        )
        for device in devices
        if device["max_input_channels"] > 0
    )


def choose_same(name: str, host_api: str, inputs: tuple[InputDevice, ...]) -> InputDevice:
    """The input among `inputs` that has that name.

    ALSA puts the card's number behind the name, which another card may have got meanwhile: it
    does not count.

    Raises
    ------
    SourceError
        Where none or several have that name.
    """
    fits = [device for device in inputs if device.name == name]
    fits = fits or [d for d in inputs if _without_card(d.name) == _without_card(name)]
    # One device is listed under each host API that knows it.
    fits = [d for d in fits if d.host_api == host_api] or fits
    if len(fits) == 1:
        return fits[0]
    if fits:
        raise SourceError(f"{name} is there {len(fits)} times: unplug all but one")
    raise SourceError(gone(name))


def gone(name: str) -> str:
    """What is said of an input that is not there."""
    return f"{name} is gone: check its cable and power; it is picked up when it is back"


def _without_card(name: str) -> str:
    return _CARD.sub("", name)


def choose_input(text: str, inputs: tuple[InputDevice, ...]) -> InputDevice:
    """The input among `inputs` of that index, or the one whose name (or name, host API) holds it.

    Raises
    ------
    SourceError
        Where none or several fit; lists what there is.
    """
    if not inputs:
        raise SourceError(NO_INPUTS)
    if text.isdecimal():
        fits = [device for device in inputs if device.index == int(text)]
    else:
        wanted = text.casefold()
        whole = {d.index: f"{d.name}, {d.host_api}".casefold() for d in inputs}
        fits = [d for d in inputs if wanted in (d.name.casefold(), whole[d.index])]
        fits = fits or [d for d in inputs if wanted in whole[d.index]]
    if text and len(fits) == 1:
        return fits[0]
    listed = "; ".join(f"{d.index} {d.name}, {d.host_api}" for d in fits or inputs)
    problem = "fits several inputs" if fits else "is no input here"
    raise SourceError(f"{text!r} {problem}: give the index or more of the name of one of: {listed}")


def _usual_rate_hz(sd: Any, device: InputDevice, channels: int) -> int:
    """The rate to open with where none was asked for.

    ALSA devices have no default of their own and PortAudio then answers 44100; location sound
    runs at 48000 (common practice, no source).
    """
    if device.host_api == "ALSA":
        with suppress(sd.PortAudioError):
            sd.check_input_settings(device.index, channels, "float32", samplerate=48_000)
            return 48_000
    return device.default_rate_hz


class StreamClock:
    """How many frames went missing between two callbacks, by the converter's own time.

    Only asked where PortAudio flags an overflow: the times of single callbacks jitter, so between
    overflows they only steer a slow average.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._next_s: float | None = None

    def lost_frames(self, adc_s: float, frames: int, overflowed: bool) -> int:
        """Take in one callback: when its first frame was converted, and its length.

        Returns 0 without an overflow; with one, the frames missing before it, at least 1, because
        a block that was flagged must never pass for whole.
        """
        lost = 0
        if self._next_s is None:
            start_s = adc_s
            lost = 1 if overflowed else 0
        elif overflowed:
            start_s = max(adc_s, self._next_s)
            lost = max(1, round((start_s - self._next_s) * self._rate_hz))
        else:
            start_s = self._next_s + _SMOOTHING * (adc_s - self._next_s)
        self._next_s = start_s + frames / self._rate_hz
        return lost


class DeviceSource:
    """Live blocks of one input device, float32.

    Parameters
    ----------
    device : InputDevice
    channels : int, optional
        How many of the device's channels, from the first; all where not given.
    sample_rate_hz : int, optional
        Where not given the device's default; under ALSA 48000 if it can.
    queue_s : float
        Audio that may wait for the worker before it is dropped and counted.

    Raises
    ------
    SourceError
        Where the device can't be opened so.
    """

    def __init__(
        self,
        device: InputDevice,
        channels: int | None = None,
        sample_rate_hz: int | None = None,
        queue_s: float = QUEUE_S,
    ) -> None:
        sd = _portaudio()
        count = channels or device.channels
        rate_hz = sample_rate_hz or _usual_rate_hz(sd, device, count)
        self.info = SourceInfo(
            name=device.name,
            sample_rate_hz=rate_hz,
            channels=count,
            channel_names=("",) * count,
            fields={HOST_API: device.host_api},
            live=True,
        )
        self._queue = BlockQueue(count, max(1, round(queue_s * rate_hz)))
        self._clock = StreamClock(rate_hz)
        self._ended = threading.Event()
        self._error: Exception | None = None
        try:
            self._stream = sd.InputStream(
                device=device.index,
                channels=count,
                samplerate=rate_hz,
                dtype="float32",
                latency=LATENCY_S,
                callback=self._callback,
                finished_callback=self._ended.set,
            )
            self._stream.start()
        except (sd.PortAudioError, ValueError) as error:
            raise SourceError(
                f"{device.name}: can't open {count} channels at {rate_hz} Hz ({_plain(error)}): "
                "close other programs that use it, then check its rate and channels"
            ) from error

    def _callback(self, samples: Samples, frames: int, time: Any, status: Any) -> None:
        # Anything raised here would be printed and end the stream with no word to the worker.
        try:
            lost = self._clock.lost_frames(time.inputBufferAdcTime, frames, status.input_overflow)
            if lost:
                self._queue.lose(lost)
            self._queue.put(samples)
        except Exception as error:  # told by the next read
            self._error = error

    def read(self, timeout_s: float) -> Block | None:
        """What came since, at most a second; None where nothing did. See `Source.read`."""
        for _ in range(max(1, round(timeout_s / POLL_S))):
            # Asked before the queue is looked at, so that the last frames are still delivered.
            ended = self._ended.is_set() or self._error is not None
            block = self._queue.take(round(_MAX_BLOCK_S * self.info.sample_rate_hz))
            if block is not None:
                return block
            if ended:
                reason = f" ({_plain(self._error)})" if self._error is not None else ""
                raise SourceError(
                    f"{self.info.name} stopped delivering audio{reason}: check its cable and "
                    "power, then start again"
                )
            self._ended.wait(POLL_S)
        return None

    @property
    def waiting_frames(self) -> int:
        """Frames that can be read now."""
        return self._queue.waiting_frames

    def close(self) -> None:
        """Stop the stream and let go of the device."""
        self._stream.close(ignore_errors=True)


def _plain(error: Exception | None) -> str:
    """The error's own words on one line."""
    return " ".join(str(error).split())

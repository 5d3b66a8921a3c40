"""Live input by way of a process of its own, which PortAudio and its drivers may take down.

PortAudio lists devices once, when it starts, and its parts may abort or hang when a device or a
sound server goes. So the engine never loads it to record: a short-lived process lists what is
plugged in now, and another one opens the device and hands its blocks over a pipe. When the input is
lost that process is ended, and a new one looks anew.

On the pipe: one line of JSON, `{"info": …}` or `{"error": …}`; then for each block a header
(frames, frames lost before it, frames that wait behind it) and the samples, one channel after the
other; last, a header of `_FAILED` and its reason.
"""

from __future__ import annotations

import json
import os
import queue
import struct
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import IO, Any, Final

import numpy as np

import engine
from engine.model.messages import Block
from engine.sources import device
from engine.sources.base import SERVER_SOURCE, SourceError, SourceInfo, server_source_of
from engine.sources.device import DeviceSource, InputDevice
from engine.sources.server_connection import ServerConnection

QUEUE_S: Final = 4.0
"""Audio that may wait in the recording process for a busy engine before it counts as lost. Ours."""

ANSWER_S: Final = 15.0
"""A driver that takes longer to open or to list is taken to hang. Ours."""

HERE_S: Final = 1.0
"""Audio that may wait in the engine itself; beyond that the recording process keeps it. Ours."""

_READ_S: Final = 0.02
_HEADER: Final = struct.Struct("<IqI")
_FAILED: Final = 0xFFFFFFFF
_LIST: Final = "list"


# ---- in the engine -------------------------------------------------------------------------------


def list_inputs() -> tuple[InputDevice, ...]:
    """Every input that is plugged in now, in PortAudio's order.

    Raises
    ------
    SourceError
        Where they can't be listed.
    """
    process = _start({"do": _LIST})
    try:
        answer, _ = process.communicate(timeout=ANSWER_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        raise SourceError("the audio system does not answer: restart its server") from None
    listed = _first_line(answer.partition(b"\n")[0])
    return tuple(InputDevice(**one) for one in listed["inputs"])


def find_input(text: str | int) -> InputDevice:
    """The input of that index, or the one whose name (or name, host API) holds that text.

    Raises
    ------
    SourceError
        Where none or several fit; lists what there is.
    """
    return device.choose_input(str(text).strip(), list_inputs())


class CapturedSource:
    """Live blocks of one input device, float32, recorded by a process of its own.

    Parameters
    ----------
    name, host_api : str
        Of the device, as PortAudio lists it.
    again : SourceInfo, optional
        The same input as it was before it was lost: the same channels and rate, and the same source
        of a sound server. Opening then waits for nothing: `read` says how it went.
    wait : bool
        False where opening is to wait for nothing all the same; `info` is there with the first
        block.

    Raises
    ------
    SourceError
        Where the device is not there, or can't be opened so.
    """

    info: SourceInfo

    def __init__(
        self,
        name: str,
        host_api: str = "",
        again: SourceInfo | None = None,
        *,
        wait: bool = True,
    ) -> None:
        job: dict[str, Any] = {"name": name, "host_api": host_api}
        if again is not None:
            job["channels"], job["sample_rate_hz"] = again.channels, again.sample_rate_hz
            job["server_source"] = server_source_of(again)
        self._name = name
        self._process = _start(job)
        self._blocks: queue.SimpleQueue[Block | str] = queue.SimpleQueue()
        self._room = threading.Condition()
        self._failure = ""
        self._received = self._taken = self._behind = 0
        self._closed = False
        self._opened = threading.Event()
        self._until = time.monotonic() + ANSWER_S
        threading.Thread(target=self._receive, name="capture", daemon=True).start()
        if again is not None:
            self.info = again
        if again is not None or not wait:
            return
        if not self._opened.wait(ANSWER_S):
            self._failure = _no_answer(name)
        if self._failure:
            self.close()
            raise SourceError(self._failure)

    @property
    def opening(self) -> bool:
        """It is not known yet whether the device can be opened."""
        return not self._opened.is_set() and time.monotonic() < self._until

    def read(self, timeout_s: float) -> Block | None:
        """What came since; None where nothing did. See `Source.read`."""
        try:
            block = self._blocks.get(timeout=timeout_s)
        except queue.Empty:
            if not self._opened.is_set() and not self.opening:
                self._failure = _no_answer(self._name)
            if self._failure:
                raise SourceError(self._failure) from None
            return None
        if isinstance(block, str):
            self._failure = block
            raise SourceError(block)
        with self._room:
            self._taken += len(block.samples)
            self._room.notify()
        return replace(block, waiting_frames=self._received - self._taken + self._behind)

    def close(self) -> None:
        """End the process, whatever its driver does; may be called twice."""
        self._closed = True
        self._process.kill()
        with self._room:
            self._room.notify()
        assert self._process.stdin is not None
        self._process.stdin.close()
        with suppress(subprocess.TimeoutExpired):  # a driver may hold it in the kernel
            self._process.wait(1.0)

    # ---- on a thread of its own --------------------------------------------------------------

    def _receive(self) -> None:
        pipe = self._process.stdout
        assert pipe is not None
        try:
            info = _info(_first_line(pipe.readline()))
            self.info = info
            self._opened.set()
            reason = self._pass_on(pipe, info.channels)
        except SourceError as error:
            reason = str(error)
        except Exception as error:
            reason = f"the recording process can't be understood ({error})"
        finally:
            pipe.close()
        if not self._opened.is_set():
            self._failure = reason
            self._opened.set()
        self._blocks.put(reason)

    def _pass_on(self, pipe: IO[bytes], channels: int) -> str:
        """Blocks as they come; returns why they end."""
        while True:
            head = pipe.read(_HEADER.size)
            if len(head) < _HEADER.size:
                return f"{self.info.name} stopped delivering audio: its driver ended"
            frames, lost, waiting = _HEADER.unpack(head)
            if frames == _FAILED:
                return pipe.read(lost).decode("utf-8", "replace")
            data = pipe.read(frames * channels * 4)
            if len(data) < frames * channels * 4:
                return f"{self.info.name} stopped delivering audio: its driver ended"
            samples = np.frombuffer(data, np.float32).reshape(channels, frames).T
            self._wait_for_room()
            self._received += frames
            self._behind = waiting
            self._blocks.put(Block(samples, lost))

    def _wait_for_room(self) -> None:
        most = HERE_S * self.info.sample_rate_hz
        with self._room:
            self._room.wait_for(lambda: self._closed or self._received - self._taken <= most)


def _info(answer: dict[str, Any]) -> SourceInfo:
    told = answer["info"]
    channels = int(told["channels"])
    names = ("",) * channels
    rate_hz, fields = int(told["sample_rate_hz"]), dict(told["fields"])
    return SourceInfo(str(told["name"]), rate_hz, channels, names, fields=fields, live=True)


def _no_answer(name: str) -> str:
    return f"{name} does not answer: unplug it, then plug it in again"


def _first_line(line: bytes) -> dict[str, Any]:
    try:
        answer = json.loads(line)
    except ValueError:
        raise SourceError("the audio system ended on its way up: restart its server") from None
    if "error" in answer:
        raise SourceError(str(answer["error"]))
    return dict(answer)


def _start(job: dict[str, Any]) -> subprocess.Popen[bytes]:
    root = str(Path(engine.__file__).parents[1])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    try:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "engine.sources.capture", json.dumps(job)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
    except OSError as error:
        raise SourceError(f"can't start a process to record: {error}") from error
    return process


# ---- in the process of its own -------------------------------------------------------------------


def main() -> None:
    """List the inputs or record from one, as the job on the command line says."""
    out = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # drivers print, and the pipe is for audio
    job = json.loads(sys.argv[1])
    try:
        if job.get("do") == _LIST:
            _say(out, {"inputs": [asdict(one) for one in device.list_inputs()]})
        else:
            threading.Thread(target=_end_with_the_engine, daemon=True).start()
            _record(out, job)
    except SourceError as error:
        _say(out, {"error": str(error)})
    except BrokenPipeError:
        pass
    os._exit(0)  # PortAudio's own end may hang or abort; nothing is left to do


def _record(out: IO[bytes], job: dict[str, Any]) -> None:
    found = device.choose_same(job["name"], job["host_api"], device.list_inputs())
    source = DeviceSource(found, job.get("channels"), job.get("sample_rate_hz"), QUEUE_S)
    moved: list[str] = []
    connection = ServerConnection(job.get("server_source", ""), moved.append)
    if moved:
        raise SourceError(device.gone(found.name))
    info = source.info
    fields = {**info.fields, SERVER_SOURCE: connection.source}
    told = {"name": info.name, "channels": info.channels, "sample_rate_hz": info.sample_rate_hz}
    _say(out, {"info": {**told, "fields": fields}})
    try:
        while not moved:
            block = source.read(_READ_S)
            if block is not None:
                waiting = source.waiting_frames
                out.write(_HEADER.pack(len(block.samples), block.lost_frames, waiting))
                _write(out, memoryview(block.samples.T.tobytes()))
        reason = f"{info.name} is gone, its stream was moved to {moved[0]}: plug it in again"
    except SourceError as error:
        reason = str(error)
    data = reason.encode()
    out.write(_HEADER.pack(_FAILED, len(data), 0) + data)


def _write(out: IO[bytes], data: memoryview) -> None:
    """All of it: a raw pipe takes what has room."""
    while data:
        data = data[out.write(data) or 0 :]


def _say(out: IO[bytes], answer: dict[str, Any]) -> None:
    out.write(json.dumps(answer).encode() + b"\n")


def _end_with_the_engine() -> None:
    """Whatever ends the engine closes our input."""
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    main()

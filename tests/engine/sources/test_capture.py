"""Recording by a process of its own: what it says is handed on, and it may go in any way."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.sources import capture
from engine.sources.base import SourceError, SourceInfo
from engine.sources.capture import CapturedSource, find_input, list_inputs
from tests.support.checkout import ROOT

INFO = {"name": "Stage 8", "channels": 2, "sample_rate_hz": 1000, "fields": {"host API": "ALSA"}}
BEGIN = f"""
import json, os, struct, sys, time
out = os.fdopen(1, "wb", buffering=0)
def say(answer): out.write(json.dumps(answer).encode() + b"\\n")
def block(samples, lost=0, waiting=0):
    out.write(struct.pack("<IqI", len(samples[0]), lost, waiting))
    for channel in samples:
        out.write(struct.pack(f"<{{len(channel)}}f", *channel))
info = {{"info": {INFO}}}
"""


@pytest.fixture
def recorder(monkeypatch: pytest.MonkeyPatch):
    """Has a script of the test's play the recording process; returns the jobs it was given."""
    jobs: list[dict[str, Any]] = []

    def play(script: str) -> list[dict[str, Any]]:
        def start(job: dict[str, Any]) -> subprocess.Popen[bytes]:
            jobs.append(job)
            pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
            return subprocess.Popen([sys.executable, "-c", BEGIN + script], **pipes)

        monkeypatch.setattr(capture, "_start", start)
        return jobs

    return play


def read(source: CapturedSource) -> Any:
    """The next block, waited for."""
    end = time.monotonic() + 30.0
    while time.monotonic() < end:
        block = source.read(0.05)
        if block is not None:
            return block
    raise AssertionError("nothing came")


def test_blocks_come_through_with_what_was_lost_and_what_waits(recorder) -> None:
    """Channel by channel on the pipe, shape (frames, channels) here, contiguous along frames."""
    recorder("say(info); block([[1, 2, 3], [4, 5, 6]], 7, 100); block([[8], [9]]); time.sleep(99)")
    source = CapturedSource("Stage 8")
    assert (source.info.name, source.info.channels, source.info.live) == ("Stage 8", 2, True)
    first, second = read(source), read(source)
    np.testing.assert_array_equal(first.samples, [[1, 4], [2, 5], [3, 6]])
    assert first.samples.T.flags.c_contiguous
    assert first.lost_frames == 7
    assert second.samples.tolist() == [[8, 9]]
    assert second.waiting_frames == 0
    source.close()
    source.close()


@pytest.mark.parametrize(
    ("script", "reason"),
    [
        ('say({"error": "Stage 8 is gone: check its cable"})', "gone: check its cable"),
        ("os.abort()", "ended on its way up"),
        ('out.write(b"ALSA lib: no such thing\\n")', "ended on its way up"),
        ("say([])", "can't be understood"),
        ('say({"info": {"channels": "x"}})', "can't be understood"),
    ],
)
def test_what_can_not_be_opened_is_one_line(recorder, script: str, reason: str) -> None:
    """Its own reason, an abort of a driver, or nonsense."""
    recorder(script)
    with pytest.raises(SourceError, match=reason) as caught:
        CapturedSource("Stage 8")
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("end", "reason"),
    [
        ("os.abort()", "its driver ended"),
        ('out.write(b"half")', "its driver ended"),
        ('out.write(struct.pack("<IqI", 5, 0, 0) + b"half")', "its driver ended"),
        ('out.write(struct.pack("<IqI", 0xFFFFFFFF, 9, 0) + b"unplugged")', "unplugged"),
    ],
)
def test_all_that_came_is_read_before_the_end_is_told(recorder, end: str, reason: str) -> None:
    """However the process goes: killed, aborted, or with a reason of its own."""
    recorder(f"say(info); block([[1.0], [2.0]]); {end}")
    source = CapturedSource("Stage 8")
    assert read(source).samples.tolist() == [[1.0, 2.0]]
    for _ in range(2):
        with pytest.raises(SourceError, match=reason):
            read(source)
    source.close()


def test_an_input_opened_again_holds_up_nobody(recorder, monkeypatch: pytest.MonkeyPatch) -> None:
    """It returns at once and asks for the same channels, rate and source of the server."""
    fields = {"host API": "ALSA", "server source": "take.monitor"}
    info = SourceInfo("Stage 8", 1000, 2, ("", ""), fields=fields, live=True)
    jobs = recorder("sys.stdin.read(); say(info)")
    begun = time.monotonic()
    source = CapturedSource("Stage 8", "ALSA", again=info)
    assert source.opening
    assert source.read(0.01) is None
    assert time.monotonic() - begun < 5.0
    assert jobs[-1] == {
        "name": "Stage 8",
        "host_api": "ALSA",
        "channels": 2,
        "sample_rate_hz": 1000,
        "server_source": "take.monitor",
    }
    source._until = 0.0
    with pytest.raises(SourceError, match="does not answer"):
        source.read(0.01)
    source.close()


@pytest.mark.parametrize("frames", [20, 1000])
def test_a_busy_engine_leaves_the_rest_where_it_is(recorder, frames: int) -> None:
    """What is not read is not gathered without bound, however long its blocks: a second of it.

    Once the engine reads again, it goes on, and all of it comes.
    """
    recorder(f"say(info)\nwhile True: block([[0.5] * {frames}] * 2)")
    source = CapturedSource("Stage 8")
    most = capture.HERE_S * INFO["sample_rate_hz"] + frames
    until = time.monotonic() + 30.0
    while source._received < most:
        assert time.monotonic() < until
        time.sleep(0.005)
    for _ in range(200):
        assert source._received - source._taken <= most
        read(source)
    assert source._taken == 200 * frames
    source.close()


@pytest.mark.end_to_end
def test_the_process_goes_with_its_engine() -> None:
    """When the engine's end of the pipe closes, whatever closed it, the process ends."""
    job = json.dumps({"name": "nothing that is here", "host_api": ""})
    command = [sys.executable, "-m", "engine.sources.capture", job]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, cwd=ROOT, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(60) == 0


def test_what_is_plugged_in_is_asked_of_a_fresh_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """PortAudio lists devices once, when it starts (its documentation of Pa_Initialize)."""
    listed = [
        {"index": 0, "name": "A", "host_api": "ALSA", "channels": 2, "default_rate_hz": 48000}
    ]
    answers = [[], listed]

    def start(job: dict[str, Any]) -> subprocess.Popen[bytes]:
        assert job == {"do": "list"}
        answer = json.dumps({"inputs": answers.pop(0)})
        return subprocess.Popen(["echo", answer], stdout=subprocess.PIPE)

    monkeypatch.setattr(capture, "_start", start)
    assert list_inputs() == ()
    assert find_input("a").channels == 2


def test_an_audio_system_that_hangs_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """A driver that never answers is not waited for without end."""
    monkeypatch.setattr(capture, "ANSWER_S", 0.1)
    monkeypatch.setattr(
        capture, "_start", lambda job: subprocess.Popen(["sleep", "99"], stdout=subprocess.PIPE)
    )
    with pytest.raises(SourceError, match="does not answer"):
        list_inputs()


def test_the_engine_itself_loads_no_audio_system() -> None:
    """Neither the runner nor the modules that open its source import PortAudio."""
    code = "import sys, engine.runtime.runner; sys.exit('sounddevice' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=Path(ROOT)).returncode == 0

"""Exceptions in a real engine, a full disk, two starts at once: the watch goes on and says so."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import soundfile

from engine.model.commands import Open
from engine.model.messages import Fault
from engine.runtime.client import EngineClient
from engine.session import engines, folders
from engine.session.reader import SessionReader
from tests.end_to_end.test_survival import shot_that, until
from tests.support.signals import noise
from tests.support.small_disk import hanging_disk, small_disk

pytestmark = [
    pytest.mark.end_to_end,
    pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals"),
]

RATE_HZ = 48_000
BREAK = """
import importlib.abc, importlib.util, os, sys, time
WHERE, FROM_S, TO_S = {where!r}, {from_s!r}, {to_s!r}

def spoil(module):
    kind, name = WHERE.split(":")[1].split(".")
    owner = getattr(module, kind)
    real = getattr(owner, name)
    began = time.monotonic()
    def broken(*arguments, **more):
        if FROM_S <= time.monotonic() - began < TO_S:
            raise ZeroDivisionError("made to fail")
        return real(*arguments, **more)
    setattr(owner, name, broken)

class Finder(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name != WHERE.split(":")[0]:
            return None
        sys.meta_path.remove(self)
        spec = importlib.util.find_spec(name)
        real = spec.loader.exec_module
        def execute(module):
            real(module)
            spoil(module)
        spec.loader.exec_module = execute
        return spec

sys.meta_path.insert(0, Finder())
"""


@pytest.fixture
def take(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A take of two minutes on two tracks, the first muted from 3 s on; sessions go elsewhere."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    sound = noise(-40.0, 120.0, RATE_HZ, tracks=2)
    sound[3 * RATE_HZ :, 0] = 0.0
    soundfile.write(tmp_path / "take.wav", sound, RATE_HZ, subtype="PCM_16")
    yield str(tmp_path / "take.wav")
    for _, running in engines.running_watches(folders.sessions_folder()):
        os.kill(running.pid, signal.SIGKILL)


Breaks = Callable[[str, float, float], None]


@pytest.fixture
def breaks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Breaks:
    """Has a method of the engines to come raise, from so many seconds after its import on."""

    def make(where: str, from_s: float, to_s: float) -> None:
        folder = tmp_path / "spoiled"
        folder.mkdir(exist_ok=True)
        text = BREAK.format(where=where, from_s=from_s, to_s=to_s)
        (folder / "sitecustomize.py").write_text(text)
        paths = [str(folder), *filter(None, [os.environ.get("PYTHONPATH")])]
        monkeypatch.setenv("PYTHONPATH", os.pathsep.join(paths))

    return make


def test_a_detector_that_raises_costs_no_audio_and_no_engine(take, breaks: Breaks) -> None:
    """Told by name and reason, then over; the same engine all along."""
    breaks("engine.detectors.hum:Hum.update", 2.0, 2.3)
    client = EngineClient(Open(take=take))
    shot_that(client, lambda s: "hum can't judge: ZeroDivisionError" in s.notice)
    shot = shot_that(client, lambda s: "hum" not in s.notice and s.now_s > 4.0)
    assert shot.audio_lost_s == 0.0
    with SessionReader(client.folder) as log:
        assert len(log.runs()) == 1
        assert [text for _, text in log.problems()] == [
            "hum can't judge: ZeroDivisionError: made to fail"
        ]
    client.close()


@pytest.mark.parametrize(
    "where",
    [
        "engine.measure.loudness:Loudness.update",
        "engine.measure.true_peak:TruePeak.update",
        "engine.pipeline.pipeline:Pipeline.snapshot",
        "engine.session.recorder:SessionRecorder.tick",
    ],
)
def test_an_exception_in_the_watch_is_followed_like_a_kill(take, breaks: Breaks, where) -> None:
    """Another engine goes on with the session; nothing is lost but the restart."""
    breaks(where, 3.0, 3.3)
    client = EngineClient(Open(take=take))
    shot_that(client, lambda s: True)
    until(lambda: client.stopped or (client.latest() and False))
    begun = time.monotonic()
    until(lambda: not client.stopped or (client.latest() and False))
    print(f"{where}: followed after {time.monotonic() - begun:.2f} s")
    shot = shot_that(client, lambda s: any(a.incident.fault is Fault.MUTED for a in s.alarms))
    assert 0.0 < shot.audio_lost_s < 5.0
    assert not shot.ended
    folder = client.folder
    client.close()
    with SessionReader(folder) as log:
        ends = [run.end_reason for run in log.runs()]
    assert ends[-1] is not None
    assert set(ends[:-1]) == {None}


def test_what_crashes_again_and_again_is_left_out_of_the_watch(take, breaks: Breaks) -> None:
    """After ten crashes levels, muted and silent go on, and it is said what crashes."""
    breaks("engine.measure.loudness:Loudness.update", 0.0, 1e9)
    client = EngineClient(Open(take=take, loop=True))
    until(lambda: client.watch() is not None or client.stopped, 60.0)
    folder = engines.ensured(engines.runtime_of(client.folder))
    now = time.monotonic()
    (folder / "starts.json").write_text(f"[{', '.join(str(now - n) for n in range(10))}]")
    shot = shot_that(client, lambda s: any(a.incident.fault is Fault.MUTED for a in s.alarms))
    assert "only levels, muted and silent are watched: ZeroDivisionError" in shot.notice
    client.close()


def test_a_watch_begins_and_goes_on_a_full_disk(take, tmp_path: Path, monkeypatch) -> None:
    """No log, in amber; killed meanwhile it is followed; all is written once there is room."""
    with small_disk(tmp_path / "disk") as disk:
        disk.fill()
        monkeypatch.setenv("XDG_DATA_HOME", str(disk.path / "data"))
        client = EngineClient(Open(take=take))
        shot = shot_that(client, lambda s: s.log is not None and bool(s.log.problem))
        assert shot.log is not None
        shot_that(client, lambda s: any(a.incident.fault is Fault.MUTED for a in s.alarms))
        running = engines.running_in(client.folder)
        assert running is not None
        os.kill(running.pid, signal.SIGKILL)
        until(lambda: client.stopped or (client.latest() and False))
        until(lambda: not client.stopped or (client.latest() and False))
        shot = shot_that(client, lambda s: any(a.incident.fault is Fault.MUTED for a in s.alarms))
        assert shot.audio_lost_s < 5.0
        disk.make_room()
        shot_that(client, lambda s: s.log is not None and not s.log.problem)
        client.close()
        with SessionReader(client.folder) as log:
            assert len(log.runs()) == 2
            seconds = log.seconds()
            (muted,) = [i for i in log.incidents() if i.fault is Fault.MUTED]
        # What came in the last second before a kill may be known to the next engine alone.
        assert muted.onset_s == pytest.approx(3.0, abs=1.5)
        assert seconds >= 5


def test_a_disk_that_hangs_is_amber_within_three_seconds_and_loses_no_line(
    take, tmp_path: Path, monkeypatch
) -> None:
    """A real file system that holds up its writers: the watch goes on, then all is written."""
    with hanging_disk(tmp_path / "disk") as hang:
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "disk" / "data"))
        client = EngineClient(Open(take=take))
        shot_that(client, lambda s: s.log is not None and s.now_s > 1.0 and s.log.saved_s < 2.0)
        hang(True)
        begun = time.monotonic()
        shot_that(client, lambda s: s.log is not None and bool(s.log.problem))
        amber_s = time.monotonic() - begun
        print(f"amber after {amber_s:.2f} s")
        assert amber_s < 3.0 + 1.0  # the last commit before may have been a second ago
        shot = shot_that(client, lambda s: any(a.incident.fault is Fault.MUTED for a in s.alarms))
        assert shot.audio_lost_s == 0.0
        time.sleep(5.0)
        hang(False)
        shot_that(client, lambda s: s.log is not None and not s.log.problem)
        client.close()
        with SessionReader(client.folder) as log:
            seconds = [row[0] for row in log._rows("SELECT second FROM level ORDER BY second")]
            assert [i.fault for i in log.incidents()] == [Fault.MUTED]
        assert seconds == list(range(len(seconds)))
        assert len(seconds) > 8


def test_a_watch_begins_on_a_disk_that_can_not_be_written(
    take, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read-only: with its alarms and a log elsewhere, and it is said that it is not kept."""
    with small_disk(tmp_path / "disk") as disk:
        disk.set_writable(False)
        monkeypatch.setenv("XDG_DATA_HOME", str(disk.path / "data"))
        client = EngineClient(Open(take=take))
        shot = shot_that(client, lambda s: any(a.incident.fault is Fault.MUTED for a in s.alarms))
        assert shot.audio_lost_s == 0.0
        assert folders.not_kept()
        assert not client.folder.is_relative_to(disk.path)
        client.close()
        with SessionReader(client.folder) as log:
            assert [i.fault for i in log.incidents()] == [Fault.MUTED]

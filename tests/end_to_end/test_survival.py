"""Engine and window as real processes: whichever dies, freezes or goes, the watch is there."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.model.commands import Acknowledge, Open, OutOfService, Standby, Stop
from engine.model.messages import AlarmState, Fault
from engine.model.snapshot import Snapshot
from engine.runtime.client import EngineClient, EngineFailedError
from engine.runtime.process import ALONE_S
from engine.session import engines, folders
from engine.session.schema import check_whole, open_to_read
from tests.support.checkout import ROOT
from tests.support.signals import noise

pytestmark = [
    pytest.mark.end_to_end,
    pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals"),
]

RATE_HZ = 48_000


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


def until(holds: Callable[[], object], seconds: float = 30.0) -> float:
    """Wait for other processes, no longer than needed; returns how long it took, s."""
    begun = time.monotonic()
    while not holds():
        assert time.monotonic() - begun < seconds, "waited in vain"
        time.sleep(0.005)
    return time.monotonic() - begun


def shot_that(client: EngineClient, fits: Callable[[Snapshot], bool]) -> Snapshot:
    """The first snapshot that fits."""
    found: list[Snapshot] = []

    def look() -> bool:
        shot = client.latest()
        if shot is not None and fits(shot):
            found.append(shot)
        return bool(found)

    until(look)
    return found[0]


def muted(shot: Snapshot) -> bool:
    """Whether a track is red for a mute."""
    return any(a.incident.fault is Fault.MUTED and a.incident.red_s for a in shot.alarms)


def engine_of(client: EngineClient) -> int:
    """The process that watches."""
    running = engines.running_in(client.folder)
    assert running is not None
    return running.pid


def has_spare(client: EngineClient) -> bool:
    """A second engine process is loaded and waits: it sleeps on its input."""
    spare = client._starter._spare
    if spare is None:
        return False
    maps = Path(f"/proc/{spare.pid}/maps").read_text()
    return (
        "_multiarray_umath" in maps and "State:\tS" in Path(f"/proc/{spare.pid}/status").read_text()
    )


def test_an_engine_that_is_killed_is_told_at_once_and_followed_within_two_seconds(take) -> None:
    """Told within 1 s, up within 2 s, on the same session, with all that the crew had set."""
    client = EngineClient(Open(take=take))
    shot = shot_that(client, muted)
    (alarm,) = [a for a in shot.alarms if a.incident.fault is Fault.MUTED]
    for command in (Acknowledge(alarm.incident.id), OutOfService(2, True), Standby(True)):
        client.send(command)
    shot_that(client, lambda s: s.standby and s.out_of_service == (2,))
    until(lambda: has_spare(client) or (client.latest() and False))
    folder, pid = client.folder, engine_of(client)
    os.kill(pid, signal.SIGKILL)
    told_s = until(lambda: client.stopped)
    assert "watch stopped" in client.stopped
    up_s = told_s + until(lambda: not client.stopped)
    again = shot_that(client, lambda s: True)
    print(f"told after {told_s:.3f} s, up again after {up_s:.3f} s")
    assert told_s < 1.0
    assert up_s < 2.0
    assert client.folder == folder
    assert engine_of(client) != pid
    (kept,) = [a for a in again.alarms if a.incident.id == alarm.incident.id]
    assert kept.state is AlarmState.ACKNOWLEDGED
    assert again.standby
    assert again.out_of_service == (2,)
    assert 0.0 < again.audio_lost_s < 3.0
    client.close()
    check_whole(folder / folders.LOG)
    with closing(open_to_read(folder / folders.LOG)) as log:
        assert log.execute("SELECT count(*), count(end_reason) FROM run").fetchone() == (2, 1)
        lost = log.execute("SELECT sum(lost_s) FROM gap WHERE what = 'audio'").fetchone()[0]
    assert lost == pytest.approx(again.audio_lost_s, abs=0.01)


def test_an_opening_that_is_given_up_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cancelled while the demo take is still being made: no folder that is no session stays."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    client = EngineClient(Open(demo=True))
    until(lambda: client.watch() is None and client.progress)
    client.close()
    assert not client.folder.exists()
    assert engines.running_watches(folders.sessions_folder()) == []


@contextmanager
def window_on(take: str) -> Iterator[tuple[subprocess.Popen[str], Path]]:
    """A window in a process of its own, as on the night, and the session it looks at."""
    script = (
        "import time\n"
        "from engine.runtime.client import EngineClient\n"
        "from engine.model.commands import Open\n"
        f"client = EngineClient(Open(take={take!r}))\nprint(client.folder, flush=True)\n"
        "while True:\n    shot = client.latest()\n"
        "    if shot is not None: print(shot.now_s, flush=True)\n    time.sleep(0.05)\n"
    )
    command = [sys.executable, "-c", script]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as window:
        assert window.stdout is not None
        yield window, Path(window.stdout.readline().strip())
        window.kill()


def test_a_window_that_is_frozen_costs_nothing(take) -> None:
    """A window stopped for six seconds: no sample and no log line is lost; then it is current."""
    with window_on(take) as (window, folder):
        assert window.stdout is not None
        window.stdout.readline()
        window.send_signal(signal.SIGSTOP)
        time.sleep(6.0)
        window.send_signal(signal.SIGCONT)
        time.sleep(0.5)
        joined = EngineClient(Open(take=take), folder=folder)
        shot = shot_that(joined, lambda s: True)
    heard = shot.ribbon.level_dbfs[:, 1] > -100.0
    assert shot.audio_lost_s == 0.0
    assert np.count_nonzero(heard) >= 6.0 / 0.4
    joined.send(Stop())
    joined.close()
    with closing(open_to_read(folder / folders.LOG)) as log:
        seconds = [row[0] for row in log.execute("SELECT second FROM level ORDER BY second")]
        looks = [row[0] for row in log.execute("SELECT arguments FROM action")]
    assert seconds == list(range(len(seconds)))
    assert len(seconds) >= 6
    assert any("silent" in look for look in looks)
    assert any("back" in look for look in looks)


def test_a_replay_that_nobody_looks_at_ends_by_itself(take) -> None:
    """Killed with its window, a replay goes on for a while, then ends in good order."""
    with window_on(take) as (_, folder):
        until(lambda: engines.running_in(folder) is not None)
        joined = EngineClient(Open(take=take), folder=folder)
        shot_that(joined, lambda s: s.now_s > 0.5)
    joined.close()
    assert engines.is_locked(folder)
    until(lambda: not engines.is_locked(folder), ALONE_S + 10.0)
    with closing(open_to_read(folder / folders.LOG)) as log:
        assert log.execute("SELECT end_reason FROM run").fetchall() == [("stopped by engine",)]
    assert engines.left_running(folder) is None


def _sockets(pid: int) -> set[str]:
    """Inodes of the sockets that a process has open."""
    links = Path(f"/proc/{pid}/fd").iterdir()
    names = [os.readlink(link) for link in links if link.is_symlink()]
    return {name[8:-1] for name in names if name.startswith("socket:[")}


def test_no_network_socket_is_opened_and_all_files_are_private(take) -> None:
    """Engine and window hold local sockets only; every session file is its owner's alone."""
    before = _sockets(os.getpid())  # other tests' browsers and brokers
    client = EngineClient(Open(take=take))
    shot_that(client, lambda s: s.now_s > 0.5)
    inodes = (_sockets(engine_of(client)) | _sockets(os.getpid())) - before
    network = ""
    for kind in ("tcp", "tcp6", "udp", "udp6", "raw", "raw6"):
        network += Path(f"/proc/net/{kind}").read_text()
    assert inodes
    assert not inodes & set(network.split())
    local = {line.split()[6] for line in Path("/proc/net/unix").read_text().splitlines()[1:]}
    assert inodes <= local
    beside = engines.runtime_of(client.folder)
    for path in [client.folder, *client.folder.iterdir(), beside, *beside.iterdir()]:
        assert path.stat().st_mode & 0o077 == 0, path
    client.close()


def test_a_second_window_joins_and_either_may_stop(take) -> None:
    """Two windows see the same watch; when one stops it the other is told in one line."""
    first = EngineClient(Open(take=take))
    shot_that(first, muted)
    second = EngineClient(Open(take=take), folder=first.folder)
    shot = shot_that(second, muted)
    second.send(Acknowledge(shot.alarms[0].incident.id))
    shot_that(first, lambda s: s.alarms[0].state is AlarmState.ACKNOWLEDGED)
    second.send(Stop(if_alone=True))
    time.sleep(0.5)
    first.latest()
    second.send(Stop())
    second.close()
    with pytest.raises(EngineFailedError, match="stopped in another window"):
        until(lambda: first.latest() and False, 10.0)
    first.close()


def test_what_cannot_be_opened_is_said_in_one_line_and_leaves_nothing(take, tmp_path) -> None:
    """A take that is none fails with the reader's own line; no session folder stays behind."""
    (tmp_path / "bad.wav").write_text("no sound")
    client = EngineClient(Open(take=str(tmp_path / "bad.wav")))
    with pytest.raises(EngineFailedError, match=r"bad\.wav"):
        until(lambda: client.watch() and False)
    folder = client.folder
    client.close()
    until(lambda: not folder.exists())


def test_the_engine_has_no_terminal_and_no_part_in_its_windows_signals(take) -> None:
    """It leads a session of its own, so that Ctrl+C and a closed terminal do not reach it."""
    client = EngineClient(Open(take=take))
    shot_that(client, lambda s: True)
    pid = engine_of(client)
    assert os.getsid(pid) == pid != os.getsid(0)
    for stream in (0, 1, 2):
        assert not os.readlink(f"/proc/{pid}/fd/{stream}").startswith(("/dev/pts", "/dev/tty"))
    client.close()


def test_two_engines_never_run_one_session(take) -> None:
    """Who comes second finds the session locked and leaves."""
    client = EngineClient(Open(take=take))
    shot_that(client, lambda s: True)
    with pytest.raises(BlockingIOError):
        engines.Lock(client.folder)
    client.close()
    engines.Lock(client.folder).release()


def test_only_local_sockets_can_be_made_by_the_channel(monkeypatch: pytest.MonkeyPatch) -> None:
    """Were a network socket asked for, it would be refused here."""
    made: list[int] = []
    real = socket.socket.__init__

    def note(self, family=-1, *more, **named):
        made.append(family)
        real(self, family, *more, **named)

    monkeypatch.setattr(socket.socket, "__init__", note)
    from engine.runtime.ipc import Listening, forget, new_address

    address = new_address()
    Listening(address).close()
    forget(address)
    assert made == [socket.AF_UNIX]

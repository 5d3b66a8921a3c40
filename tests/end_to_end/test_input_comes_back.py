"""A real PortAudio input that stalls, goes and comes back, watched by a real engine."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from engine.model.commands import Open, Stop
from engine.model.messages import Fault
from engine.model.snapshot import Snapshot
from engine.runtime.client import EngineClient
from engine.session import engines, folders
from engine.session.schema import open_to_read
from tests.support.signals import noise
from tests.support.sound_server import DEVICE, SoundServer, require_sound_server, sound_server

pytestmark = pytest.mark.end_to_end

RATE_HZ = 48_000
PLAN = "[[track]]\ninput = 1\n[[track]]\ninput = 2\n"


class Night:
    """A watch of the server's input by an engine process."""

    def __init__(self, server: SoundServer, folder: Path) -> None:
        self.server = server
        (folder / "plan.toml").write_text(PLAN)
        self._sound = noise(-40.0, 60.0, RATE_HZ, tracks=server.channels)
        server.play(self._sound)
        self.request = Open(device=DEVICE, plan=str(folder / "plan.toml"))
        self.client = EngineClient(self.request)
        self.shot: Snapshot | None = None
        self.until(lambda shot: shot.now_s > 2.0)

    def until(self, fits: Callable[[Snapshot], bool], seconds: float = 30.0) -> float:
        """Wait for a snapshot that fits; returns how long it took, s."""
        begun = time.monotonic()
        while time.monotonic() - begun < seconds:
            self.shot = self.client.latest() or self.shot
            if self.shot is not None and fits(self.shot):
                return time.monotonic() - begun
            time.sleep(0.005)
        raise AssertionError(f"waited in vain: {self.shot and self.shot.notice}")

    def plug_in(self) -> None:
        """The interface is there again, and sounds."""
        self.server.plug_in()
        self.server.play(self._sound)


@pytest.fixture
def night(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Night]:
    """Two tracks of a live input, watched since two seconds."""
    require_sound_server()
    with sound_server(16, RATE_HZ) as server:
        for name, value in server.env.items():
            monkeypatch.setenv(name, value)
        monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
        made = Night(server, tmp_path)
        yield made
        made.client.send(Stop())
        made.client.close()


def lost(shot: Snapshot) -> bool:
    """The input is lost and not back."""
    faults = [a.incident for a in shot.alarms if a.incident.fault is Fault.INPUT_LOST]
    return any(incident.end_s is None for incident in faults)


def back(shot: Snapshot) -> bool:
    """Audio comes."""
    return not lost(shot) and bool(shot.present.all())


def gaps(night: Night) -> list[tuple[float, str]]:
    """Lost audio in the log: how long, why."""
    with closing(open_to_read(night.client.folder / folders.LOG)) as log:
        return log.execute("SELECT lost_s, reason FROM gap WHERE what = 'audio'").fetchall()


def test_an_interface_put_back_is_picked_up_by_itself(night: Night) -> None:
    """Lost within 1 s of the cable being pulled, back within 3 s, the gap in the log."""
    night.server.unplug()
    lost_s = night.until(lost)
    time.sleep(2.0)
    night.plug_in()
    back_s = night.until(back)
    print(f"lost after {lost_s:.2f} s, back after {back_s:.2f} s")
    assert lost_s < 1.0
    assert back_s < 3.0
    assert night.shot is not None
    time.sleep(1.5)
    assert sum(s for s, _ in gaps(night)) >= 2.0
    assert any(DEVICE in why for _, why in gaps(night))


def test_a_stalled_input_is_lost_within_a_second_and_comes_back(night: Night) -> None:
    """Callbacks stop without an error: input_lost within 1 s; and well when they come again."""
    os.kill(night.server.process.pid, signal.SIGSTOP)
    lost_s = night.until(lost)
    time.sleep(1.0)
    os.kill(night.server.process.pid, signal.SIGCONT)
    back_s = night.until(back)
    print(f"lost after {lost_s:.2f} s, back after {back_s:.2f} s")
    assert lost_s < 1.0
    assert back_s < 3.0


def test_a_live_watch_goes_on_without_a_window_and_is_joined(night: Night) -> None:
    """With its window closed it goes on; the same input asked for again is the same watch."""
    folder = night.client.folder
    night.client.close()
    time.sleep(2.0)
    assert engines.is_locked(folder)
    asked_alike = EngineClient(night.request)
    assert asked_alike.joined
    other_words = EngineClient(Open(device=DEVICE[:6].upper()))
    for client in (asked_alike, other_words):
        night.client, night.shot = client, None
        night.until(back)
        assert client.folder == folder
        assert client.joined
    other_words.close()
    night.client = asked_alike
    night.until(lambda shot: len(list(folders.sessions_folder().iterdir())) == 1)


def test_a_killed_engine_is_followed_on_the_same_interface(night: Night) -> None:
    """The next engine opens the input by its name and owns up to what was lost."""
    time.sleep(4.0)
    running = engines.running_in(night.client.folder)
    assert running is not None
    os.kill(running.pid, signal.SIGKILL)
    begun = time.monotonic()
    while not night.client.stopped:
        assert time.monotonic() - begun < 1.0
        time.sleep(0.005)
    back_s = night.until(lambda shot: back(shot) and shot.audio_lost_s > 0.0)
    print(f"audio again after {back_s:.2f} s")
    assert night.shot is not None
    assert 0.0 < night.shot.audio_lost_s < 6.0
    time.sleep(1.5)
    assert any(why == "the watch was restarted" for _, why in gaps(night)), gaps(night)

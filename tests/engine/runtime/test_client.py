"""A window's end of the channel, against an engine that the test plays."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from engine.model.commands import Acknowledge, Open, Standby, Stop
from engine.runtime import client as client_module
from engine.runtime.client import SLOWEST_S, EngineClient, EngineFailedError
from engine.runtime.housekeeping import STUCK_S
from engine.runtime.ipc import forget, new_address
from engine.runtime.server import Server
from engine.runtime.wire import SCHEMA, Alive, Elsewhere, Failed, Job, Progress
from engine.session import engines, folders
from engine.session.engines import Running
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
LIVE = fake_client.watch(PLAN)


class Engine:
    """An engine of a session as windows see it."""

    def __init__(self, folder: Path, request: Open = Open(device="tower")) -> None:  # noqa: B008
        self.folder, self.heard = folder, []
        self.lock = engines.Lock(folder)
        self.address = new_address()
        self.server = Server(self.address, lambda who, said: self.heard.append(said))
        where = (self.address.path, self.address.key.hex())
        engines.say_running(
            folder, Running(*where, 0, request, "tower interface", True, schema=SCHEMA)
        )

    def shows(self, now_s: float) -> None:
        """It watches, and it is so late."""
        self.server.begin(LIVE)
        self.server.publish(fake_client.snapshot(PLAN, now_s=now_s))

    def dies(self) -> None:
        """Without a word."""
        self.server.close()
        forget(self.address)
        self.lock.release()

    def ends(self) -> None:
        """In good order."""
        engines.forget_running(self.folder)
        self.dies()


class FakeStarter:
    """Notes the engines that were asked for; `answers` plays each one."""

    def __init__(self) -> None:
        self.jobs: list[Job] = []
        self.engines: list[Engine] = []
        self.answers: Callable[[Job], Engine | None] = lambda job: Engine(Path(job.folder))
        self.spares = 0

    def start(self, job: Job) -> None:
        self.jobs.append(job)
        made = self.answers(job)
        if made is not None:
            self.engines.append(made)

    def keep_spare(self, folder: Path) -> None:
        self.spares += 1

    @property
    def running(self) -> bool:
        return False

    def close(self) -> None:
        pass


@pytest.fixture
def starter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeStarter]:
    """No real process is started, no real session touched."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    made = FakeStarter()
    monkeypatch.setattr(client_module, "Starter", lambda: made)
    yield made
    for engine in made.engines:
        engine.dies()


def until(holds: Callable[[], object]) -> None:
    """Wait for the client's threads, no longer than needed."""
    end = time.monotonic() + 10.0
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.005)


def shown(client: EngineClient) -> Callable[[], bool]:
    """The client has a snapshot."""
    return lambda: client.latest() is not None


def test_it_begins_a_session_and_hears_from_its_engine(starter: FakeStarter) -> None:
    """A fresh request gets a folder and an engine; watch, snapshots and progress come through."""
    client = EngineClient(Open(device="tower"))
    assert [(job.folder, job.resume) for job in starter.jobs] == [(str(client.folder), False)]
    starter.engines[0].server.publish(Progress("rendering"))
    until(lambda: client.progress == "rendering")
    assert client.watch() is None
    starter.engines[0].shows(1.0)
    until(shown(client))
    assert client.watch() == LIVE
    assert not client.joined
    client.close()


def test_the_same_live_input_is_joined(starter: FakeStarter) -> None:
    """A running watch of the input that is asked for is looked at; no engine is started."""
    first = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    second = EngineClient(Open(device="tower"))
    by_name = EngineClient(Open(device="tower interface"))
    for client in (second, by_name):
        assert client.joined
        assert client.folder == first.folder
        until(shown(client))
    assert len(starter.jobs) == 1
    for client in (first, second, by_name):
        client.close()


def test_an_engine_that_finds_the_input_watched_sends_its_window_there(starter) -> None:
    """However the input was named, the window ends up at the running watch."""
    first = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    second = EngineClient(Open(device=3))
    starter.engines[1].server.publish(Elsewhere(str(first.folder)))
    until(shown(second))
    assert second.folder == first.folder
    assert second.joined
    first.close()
    second.close()


def test_an_engine_that_dies_is_told_and_followed_on_the_same_session(starter) -> None:
    """`stopped` says so until the next engine shows something; it resumes the same folder."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    starter.answers = lambda job: None
    starter.engines[0].dies()
    until(lambda: "watch stopped" in client.stopped)
    until(lambda: len(starter.jobs) == 2)
    assert starter.jobs[1] == replace(starter.jobs[0], resume=True)
    until(lambda: len(starter.jobs) >= 3)  # the second did not come up: tried again
    starter.answers = lambda job: Engine(Path(job.folder))
    until(lambda: len(starter.engines) == 2)
    starter.engines[1].shows(5.0)
    until(lambda: not client.stopped)
    assert client.latest() is not None
    client.close()


def test_an_engine_that_another_window_started_is_used(starter: FakeStarter) -> None:
    """Where the session has an engine again, no second one is started."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    starter.answers = lambda job: None
    starter.engines[0].dies()
    until(lambda: client.stopped)
    starter.engines.append(Engine(client.folder))
    starter.engines[1].shows(2.0)
    until(lambda: not client.stopped)
    client.close()


def test_what_was_asked_while_no_engine_lived_reaches_the_next(starter: FakeStarter) -> None:
    """Commands wait for an engine and keep their order."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    starter.answers = lambda job: None
    starter.engines[0].dies()
    until(lambda: client.stopped)
    client.send(Standby(True))
    client.send(Standby(False))
    starter.answers = lambda job: Engine(Path(job.folder))
    until(lambda: len(starter.engines) == 2 and Standby(False) in starter.engines[1].heard)
    heard = [said for said in starter.engines[1].heard if isinstance(said, Standby)]
    assert heard == [Standby(True), Standby(False)]
    client.close()


def test_a_watch_that_was_ended_elsewhere_is_not_begun_again(starter: FakeStarter) -> None:
    """An engine that ends in good order is no death: the window is told in one line."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    starter.engines.pop().ends()
    with pytest.raises(EngineFailedError, match="stopped in another window"):
        until(lambda: client.latest() and False)
    assert len(starter.jobs) == 1
    client.close()


def test_a_failure_is_one_clear_error(starter: FakeStarter) -> None:
    """What the engine says of why it can't open is raised, and nothing is tried again."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].server.publish(Failed("no such input"))
    with pytest.raises(EngineFailedError, match="no such input"):
        until(lambda: client.watch() and False)
    starter.engines.pop().ends()
    client.close()
    assert len(starter.jobs) == 1


def test_an_engine_that_never_starts_says_its_last_words(starter: FakeStarter) -> None:
    """The last line that it wrote is the reason given."""

    def dies_at_once(job: Job) -> None:
        words = engines.words_of(Path(job.folder))
        engines.ensured(words.parent)
        words.write_text("Traceback\nImportError: no numpy\n")

    starter.answers = dies_at_once
    client = EngineClient(Open(device="tower"))
    with pytest.raises(EngineFailedError, match="could not start: ImportError: no numpy"):
        until(lambda: client.watch() and False)
    client.close()


def test_closing_leaves_a_live_watch_alone_and_ends_a_replay(starter: FakeStarter) -> None:
    """A live watch is not told to stop by a window that closes; a replay is."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    client.close()
    client.close()
    assert not any(isinstance(said, Stop) for said in starter.engines[0].heard)

    replay = EngineClient(Open(take="take.wav"))
    engine = starter.engines[1]
    engine.server.begin(replace(LIVE, live=False))
    engine.server.publish(fake_client.snapshot(PLAN, ended=True))
    until(shown(replay))
    send = replay.send

    def ends(command: object) -> None:
        send(command)
        until(lambda: any(isinstance(said, Stop) for said in engine.heard))
        starter.engines.remove(engine)
        engine.ends()

    replay.send = ends  # type: ignore[method-assign]
    replay.close()
    assert engine not in starter.engines


def test_a_watch_that_broke_off_with_the_machine_goes_on(starter: FakeStarter) -> None:
    """The same request the same night resumes the session that nobody ended."""
    first = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(first))
    starter.answers = lambda job: None
    first._closed = True  # as when window and engine go together
    starter.engines.pop().dies()
    again = EngineClient(Open(device="tower"))
    assert (again.folder, again.joined) == (first.folder, False)
    assert starter.jobs[-1].resume
    for client in (first, again):
        client._told_to_stop = False
        client._closed = True


def test_paths_are_made_whole(starter: FakeStarter) -> None:
    """The engine works in another folder, so it gets whole paths."""
    client = EngineClient(Open(take="take.wav", plan="plan.toml"))
    request = starter.jobs[0].request
    assert Path(request.take or "").is_absolute()
    assert Path(request.plan or "").is_absolute()
    starter.engines.pop().ends()
    client.close()


def test_a_follower_neither_starts_nor_ends_an_engine(tmp_path: Path, starter: FakeStarter) -> None:
    """It waits for an engine that dies, and goes on with the one that another window starts."""
    first = Engine(tmp_path)
    first.shows(1.0)
    client = EngineClient(Open(), "page", tmp_path, follows=True)
    until(lambda: client.latest() is not None)
    first.dies()
    until(lambda: client.stopped != "")
    second = Engine(tmp_path)
    second.shows(9.0)
    until(lambda: (shot := client.latest()) is not None and shot.now_s == 9.0)
    client.close()
    second.ends()
    assert (starter.jobs, starter.spares) == ([], 0)


def kills(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The processes that the client ends from now on."""
    made: list[int] = []
    monkeypatch.setattr(client_module.os, "kill", lambda pid, signal: made.append(pid))
    return made


def test_an_engine_that_gives_no_sign_of_life_is_ended(
    starter: FakeStarter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Connected, but silent for `HUNG_S`."""
    monkeypatch.setattr(client_module, "HUNG_S", 0.1)
    ended = kills(monkeypatch)
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    client._pid = 4711
    until(lambda: ended)
    assert set(ended) == {4711}
    client.close()


def test_a_computer_that_stood_still_costs_no_engine(
    starter: FakeStarter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Window and engine were stopped for a minute: the engine gets its time to answer."""
    ended = kills(monkeypatch)
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    client._pid = 4711
    looks, monotonic = [], time.monotonic

    def stopped() -> float:  # each look seems to come a minute after the one before
        looks.append(monotonic())
        return looks[-1] + 60.0 * len(looks)

    monkeypatch.setattr(client_module.time, "monotonic", stopped)
    until_real = monotonic() + 10.0
    while len(looks) < 8:
        assert monotonic() < until_real
        time.sleep(0.005)
    monkeypatch.setattr(client_module.time, "monotonic", monotonic)
    assert ended == []
    client.close()


@pytest.mark.parametrize(("turn_s", "is_ended"), [(STUCK_S - 0.1, False), (STUCK_S + 0.1, True)])
def test_an_engine_whose_watch_takes_no_turn_is_ended(
    starter: FakeStarter, monkeypatch: pytest.MonkeyPatch, turn_s: float, is_ended: bool
) -> None:
    """Its heart beats, but its driver never answers."""
    ended = kills(monkeypatch)
    client = EngineClient(Open(device="tower"))
    engine = starter.engines[0]
    engine.shows(1.0)
    until(shown(client))
    client._pid = 4711
    engine.server.publish(Alive(turn_s))
    if is_ended:
        until(lambda: ended)
    else:
        engine.shows(2.0)
        until(shown(client))
        assert ended == []
    client.close()


def test_an_engine_that_does_not_answer_who_joins_is_ended(
    starter: FakeStarter, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It listens, but its process stands still: another one follows."""
    first = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    ended, address = kills(monkeypatch), starter.engines[0].address
    first._closed = True

    def hangs(_: object) -> None:
        raise TimeoutError("no answer")

    monkeypatch.setattr(client_module, "connect", hangs)
    engines.say_running(
        first.folder,
        Running(address.path, address.key.hex(), 4711, first._request, "x", True, schema=SCHEMA),
    )
    second = EngineClient(Open(device="tower"))
    until(lambda: ended)
    assert set(ended) == {4711}
    second._closed = True


def test_an_engine_of_another_version_is_left_alone(starter: FakeStarter) -> None:
    """Refused in one line; it goes on, and no second engine is started."""
    folder = folders.new_session()
    other = Engine(folder)
    where = (other.address.path, other.address.key.hex())
    engines.say_running(folder, Running(*where, 0, Open(device="tower"), "x", True, schema="old"))
    client = EngineClient(Open(device="tower"))
    with pytest.raises(EngineFailedError, match="another version of trackwarden"):
        until(lambda: client.watch() and False)
    assert starter.jobs == []
    assert other.heard == []
    client.close()
    other.dies()


def test_a_dead_engine_is_tried_again_at_least_every_two_seconds(starter: FakeStarter) -> None:
    """However often it has died: nobody watches meanwhile."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    client._deaths = 50
    starter.answers = lambda job: None
    begun = time.monotonic()
    starter.engines.pop().dies()
    until(lambda: len(starter.jobs) == 2)
    assert time.monotonic() - begun < SLOWEST_S + 1.0
    assert SLOWEST_S <= 2.0
    client._closed = True


def test_what_can_not_be_sent_holds_up_no_other_command(starter: FakeStarter) -> None:
    """A number beyond 64 bits is left out; the next command arrives."""
    client = EngineClient(Open(device="tower"))
    starter.engines[0].shows(1.0)
    until(shown(client))
    client.send(Acknowledge(2**80))
    client.send(Standby(True))
    until(lambda: Standby(True) in starter.engines[0].heard)
    client.close()

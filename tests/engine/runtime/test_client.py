"""A window's end of the connection, against an engine that the test plays."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

from engine.model.commands import Acknowledge, Open, Standby, Stop
from engine.runtime.client import SLOWEST_S, EngineClient, EngineFailedError
from engine.runtime.wire import Elsewhere, Failed, Job, Progress
from engine.session import engines, folders
from engine.session.engines import Running
from tests.support.played_engine import LIVE, PLAN, FakeStarter, PlayedEngine, shown, until
from tests.support.qt import fake_client


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
    starter.answers = lambda job: PlayedEngine(Path(job.folder))
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
    starter.engines.append(PlayedEngine(client.folder))
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
    starter.answers = lambda job: PlayedEngine(Path(job.folder))
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


def test_a_follower_neither_starts_nor_ends_an_engine(tmp_path: Path, starter: FakeStarter) -> None:
    """It waits for an engine that dies, and goes on with the one that another window starts."""
    first = PlayedEngine(tmp_path)
    first.shows(1.0)
    client = EngineClient(Open(), "page", tmp_path, follows=True)
    until(lambda: client.latest() is not None)
    first.dies()
    until(lambda: client.stopped != "")
    second = PlayedEngine(tmp_path)
    second.shows(9.0)
    until(lambda: (shot := client.latest()) is not None and shot.now_s == 9.0)
    client.close()
    second.ends()
    assert (starter.jobs, starter.spares) == ([], 0)


def test_an_engine_of_another_version_is_left_alone(starter: FakeStarter) -> None:
    """Refused in one line; it goes on, and no second engine is started."""
    folder = folders.new_session()
    other = PlayedEngine(folder)
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

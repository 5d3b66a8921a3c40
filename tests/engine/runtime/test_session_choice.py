"""A window joins the watch that runs, goes on with one that broke off, or begins one."""

from __future__ import annotations

from pathlib import Path

from engine.model.commands import Open
from engine.runtime.client import EngineClient
from tests.support.played_engine import FakeStarter, shown, until


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

"""A window ends an engine that hangs, and another one follows."""

from __future__ import annotations

import time

import pytest

from engine.model.commands import Open
from engine.runtime import client as client_module
from engine.runtime.client import EngineClient
from engine.runtime.housekeeping import STUCK_S
from engine.runtime.wire import SCHEMA, Alive
from engine.session import engines
from engine.session.engines import Running
from tests.support.played_engine import FakeStarter, shown, until


def kills(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The processes that the client ends from now on."""
    made: list[int] = []
    monkeypatch.setattr(client_module, "end_process", made.append)
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
    monkeypatch.setattr(client_module, "HUNG_S", 1e9)  # it is not that it says nothing
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

"""The bridge between engine and window."""

from __future__ import annotations

from dataclasses import replace

import pytest

from app.services.bridge import Bridge
from engine.model.commands import Acknowledge, AcknowledgeAll, Open, Shelve, Standby, Stop, Unshelve
from engine.model.messages import AlarmEvent, EventKind
from tests.support.qt import fake_client
from tests.support.qt.pages import Clock

pytestmark = pytest.mark.usefixtures("qapp")


def bridge_on(client: fake_client.FakeClient) -> tuple[Bridge, list, Clock]:
    """A bridge that has opened that client, and all it says from now on."""
    clock, said = Clock(), []
    bridge = Bridge(fake_client.factory_of(client), clock=clock)
    bridge.started.connect(lambda w: said.append(("started", w)))
    bridge.snapshot.connect(lambda s: said.append(("snapshot", s)))
    bridge.failed.connect(lambda words: said.append(("failed", words)))
    bridge.ended.connect(lambda: said.append(("ended", None)))
    bridge.silent.connect(lambda s: said.append(("silent", s)))
    bridge.open(Open(demo=True))
    return bridge, said, clock


def test_started_comes_before_the_first_snapshot() -> None:
    """While the engine opens nothing is said; then what is watched; then snapshots."""
    plan = fake_client.tower_plan()
    client = fake_client.FakeClient(fake_client.watch(plan), lambda _n: fake_client.snapshot(plan))
    watching, client.watching = client.watching, None
    bridge, said, _ = bridge_on(client)
    opening: list[str] = []
    bridge.opening.connect(opening.append)
    client.progress = "rendering the demo take"
    bridge.poll()
    assert said == []
    assert opening == ["rendering the demo take"]
    client.watching = watching
    bridge.poll()
    assert [kind for kind, _ in said] == ["started", "snapshot"]
    bridge.close()
    assert client.closed


def test_a_snapshot_of_another_plan_waits_for_it() -> None:
    """Plan and snapshot may come a look apart: nothing is drawn of the wrong tracks, and what
    happened meanwhile is told with the next snapshot that fits."""
    plan = fake_client.tower_plan()
    fewer = replace(plan, tracks=plan.tracks[1:])
    event = AlarmEvent(EventKind.RAISED, 1.0, fake_client.tower_alarms()[0])
    shots = [
        replace(fake_client.snapshot(one), inputs=tuple(t.input for t in one.tracks), events=events)
        for one, events in ((plan, ()), (fewer, (event,)), (fewer, ()))
    ]
    client = fake_client.FakeClient(fake_client.watch(plan), lambda call: shots[call])
    bridge, said, _ = bridge_on(client)
    bridge.plan_changed.connect(lambda w: said.append(("plan", w)))
    bridge.poll()
    bridge.poll()
    assert [kind for kind, _ in said] == ["started", "snapshot"]
    client.watching = fake_client.watch(fewer)
    bridge.poll()
    assert [kind for kind, _ in said[2:]] == ["plan", "snapshot"]
    assert said[-1][1].inputs == shots[-1].inputs
    assert said[-1][1].events == (event,)


def test_every_command_reaches_the_client() -> None:
    """Commands are passed on as they are, in order; stop is one of them."""
    client = fake_client.FakeClient(fake_client.watch(fake_client.tower_plan()), lambda _n: None)
    bridge, _, _ = bridge_on(client)
    asked = [Acknowledge(3), AcknowledgeAll(), Shelve(4, 300.0), Unshelve(4), Standby(True)]
    for command in asked:
        bridge.ask(command)
    bridge.stop()
    assert client.sent == [*asked, Stop()]
    assert client.closed
    assert not bridge.running


def test_a_broken_engine_is_said_and_let_go() -> None:
    """An error of the client is told in its own words, and the client closed."""
    client = fake_client.FakeClient(fake_client.watch(fake_client.tower_plan()), lambda _n: None)
    client.error = "the interface is in use by another program"
    bridge, said, _ = bridge_on(client)
    bridge.poll()
    assert said == [("failed", client.error)]
    assert client.closed


def test_a_refused_request_is_said() -> None:
    """A factory that refuses leaves no watch behind."""

    def refuse(_request: Open) -> fake_client.FakeClient:
        raise ValueError("plan line 3: no such key")

    bridge, said = Bridge(refuse), []
    bridge.failed.connect(said.append)
    bridge.open(Open(take="x.wav"))
    assert said == ["plan line 3: no such key"]
    assert not bridge.running


def test_a_silent_engine_is_noticed() -> None:
    """Without a snapshot for 1.5 s the engine counts as not answering; not a moment sooner."""
    client = fake_client.FakeClient(fake_client.watch(fake_client.tower_plan()), lambda _n: None)
    bridge, said, clock = bridge_on(client)
    bridge.poll()
    clock.now_s += 1.49
    bridge.poll()
    assert [kind for kind, _ in said] == ["started"]
    clock.now_s += 0.01
    bridge.poll()
    assert said[-1] == ("silent", pytest.approx(1.5))
    bridge.close()


def test_the_end_is_said_once() -> None:
    """A take that has ended is still shown: what the crew does then is seen. An engine that is
    gone by then is missed by nobody."""
    plan = fake_client.tower_plan()
    shots = [fake_client.snapshot(plan, ended=True)] * 2
    client = fake_client.FakeClient(
        fake_client.watch(plan), lambda n: shots[n] if n < len(shots) else None
    )
    bridge, said, clock = bridge_on(client)
    bridge.poll()
    assert [kind for kind, _ in said] == ["started", "snapshot", "ended"]
    bridge.poll()
    assert [kind for kind, _ in said[3:]] == ["snapshot"]
    assert bridge._timer.isActive()
    clock.now_s += 60.0
    bridge.poll()
    assert len(said) == 4
    bridge.close()

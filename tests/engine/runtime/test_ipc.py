"""The channel: usable by its user alone, newest wins, no event lost to a slow window."""

from __future__ import annotations

import os
import socket
import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from multiprocessing import AuthenticationError, Pipe
from pathlib import Path

import pytest

from engine.model.engine_address import Address
from engine.model.messages import (
    Alarm,
    AlarmEvent,
    AlarmState,
    EventKind,
    Fault,
    Incident,
    Severity,
)
from engine.runtime.ipc import (
    LONGEST_PATH,
    Connection,
    Listening,
    NewestSender,
    carry_events,
    connect,
    forget,
    new_address,
)
from engine.runtime.wire import Alive, Message, Progress, unpack_message
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()


def event(number: int) -> AlarmEvent:
    """Something happened to the incident of that number."""
    incident = Incident(number, 1, Fault.MUTED, Severity.RED, 0.0)
    return AlarmEvent(EventKind.RAISED, 0.0, Alarm(incident, AlarmState.UNACKNOWLEDGED))


def numbers(snapshot) -> list[int]:
    """Whose events a snapshot carries."""
    return [e.alarm.incident.id for e in snapshot.events]


@pytest.mark.skipif(os.name != "posix", reason="file modes")
def test_only_its_user_can_reach_the_address() -> None:
    """The socket lies in a folder that nobody else can enter, and it is of no network family."""
    address = new_address()
    listening = Listening(address)
    assert Path(address.path).parent.stat().st_mode & 0o777 == 0o700
    assert listening._listener._listener._socket.family == socket.AF_UNIX
    listening.close()
    forget(address)
    assert not Path(address.path).parent.exists()


def test_without_the_key_there_is_no_way_in() -> None:
    """A stranger with another key is refused, and never hears a message."""
    address = new_address()
    refused = []
    listening = Listening(address)

    def accept() -> None:
        try:
            listening.accept().check_key(address.key)
        except AuthenticationError as error:
            refused.append(error)

    waiting = threading.Thread(target=accept)
    waiting.start()
    with pytest.raises((AuthenticationError, EOFError, OSError)):
        connect(Address(address.path, b"another key"))
    waiting.join(5.0)
    listening.close()
    forget(address)
    assert refused


@pytest.mark.skipif(os.name != "posix", reason="paths of sockets")
def test_a_long_path_to_temporary_files_is_no_hindrance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A socket's path is short by nature (sys/un.h): another folder is taken then."""
    deep = tmp_path / ("d" * 80) / ("e" * 80)
    deep.mkdir(parents=True)
    monkeypatch.setattr(tempfile, "tempdir", str(deep))
    for folder in (None, deep):
        address = new_address(folder)
        Listening(address).close()
        assert len(address.path) <= LONGEST_PATH
        assert Path(address.path).parent.stat().st_mode & 0o777 == 0o700
        forget(address)


def test_keys_and_addresses_differ() -> None:
    """No two addresses are alike."""
    made = [new_address() for _ in range(3)]
    assert len({a.key for a in made}) == len({a.path for a in made}) == 3
    for address in made:
        forget(address)


def test_the_newest_snapshot_carries_the_events_that_were_not_seen() -> None:
    """What a snapshot that is dropped told goes on with the next one, in order, bounded."""
    first = fake_client.snapshot(PLAN, events=(event(1), event(2)))
    second = fake_client.snapshot(PLAN, now_s=2.0, events=(event(3),))
    both = carry_events(first, second)
    assert numbers(both) == [1, 2, 3]
    assert both.now_s == 2.0
    many = replace(first, events=tuple(event(n) for n in range(5000)))
    assert len(carry_events(many, second).events) == 1000
    assert carry_events(None, second) is second


def test_a_peer_that_does_not_read_blocks_nobody() -> None:
    """Thousands of snapshots for a frozen window take no time; it then gets the newest."""
    here, there = Pipe()
    sender = NewestSender(Connection(here), lambda: None)
    shot = fake_client.snapshot(PLAN)
    for number in range(3000):
        newer = replace(shot, now_s=float(number), events=(event(number),))
        sender.replace(Message(None, newer))
    heard: list[int] = []
    while there.poll(2.0):
        state = unpack_message(there.recv_bytes()).state
        heard += numbers(state)
        if state.now_s == 2999.0:
            break
    assert heard[-1] == 2999
    assert heard == sorted(heard)
    sender.close()
    here.close()
    there.close()


def test_a_heartbeat_never_replaces_news() -> None:
    """A heartbeat is sent only where nothing else waits."""
    here, there = Pipe()
    gate = threading.Event()

    class Slow(Connection):
        def send(self, data: bytes) -> None:
            gate.wait(5.0)
            super().send(data)

    sender = NewestSender(Slow(here), lambda: None)
    sender.replace(Message(None, Progress("one")))
    while sender._newest is not None:
        pass
    sender.replace(Message(None, Progress("two")))
    sender.replace(Message(None, Alive()))
    gate.set()
    sent = [unpack_message(there.recv_bytes()).state for _ in range(2)]
    assert sent == [Progress("one"), Progress("two")]
    sender.close()
    here.close()
    there.close()


def test_a_peer_that_is_gone_is_told_once() -> None:
    """When the other end is closed the sender says so and ends."""
    here, there = Pipe()
    gone = threading.Event()
    sender = NewestSender(Connection(here), gone.set)
    there.close()
    sender.replace(Message(None, Alive()))
    assert gone.wait(5.0)
    here.close()


def test_a_connection_that_closes_cuts_no_message_in_two() -> None:
    """Who sends while another thread closes hears of an end, and nothing else happens to it."""

    class Slow:
        """A connection whose handle goes in the midst of a message, as the library's does."""

        closed = False

        def fileno(self) -> int:
            return there.fileno()

        def send_bytes(self, data: bytes) -> None:
            begun.set()
            threading.Event().wait(0.2)
            if self.closed:
                raise TypeError("'NoneType' object cannot be interpreted as an integer")

        def close(self) -> None:
            self.closed = True

    here, there = Pipe()
    begun = threading.Event()
    failed: list[BaseException] = []
    connection = Connection(Slow())

    def send() -> None:
        try:
            connection.send(b"stop")
        except OSError:
            pass
        except BaseException as error:
            failed.append(error)

    speaker = threading.Thread(target=send)
    speaker.start()
    assert begun.wait(5.0)
    connection.close()
    speaker.join(5.0)
    assert not failed
    here.close()
    there.close()


@pytest.mark.parametrize("wait", [Connection.recv, lambda connection: connection.poll(5.0)])
def test_who_waits_on_a_connection_that_closes_hears_of_its_end(
    wait: Callable[[Connection], object],
) -> None:
    """At once, by the errors that stand for it; both ends."""
    for closes_itself in (True, False):
        here, there = (Connection(raw) for raw in Pipe())
        ended: list[object] = []

        def listen(heard: Connection = here, ended: list[object] = ended) -> None:
            try:
                wait(heard)
                ended.append(heard.recv())
            except (OSError, EOFError) as error:
                ended.append(error)

        listener = threading.Thread(target=listen)
        listener.start()
        (here if closes_itself else there).close()
        listener.join(2.0)
        assert [isinstance(end, OSError | EOFError) for end in ended] == [True]
        here.close()
        there.close()

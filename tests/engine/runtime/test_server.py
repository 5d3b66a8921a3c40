"""The engine's end of the channel, with real connections and no engine."""

from __future__ import annotations

import socket
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.model.client_id import ClientId
from engine.model.commands import Standby, Stop
from engine.model.engine_address import Address
from engine.runtime.ipc import HANDSHAKE_S, Connection, connect, forget, new_address
from engine.runtime.server import MOST_STRANGERS, SILENT_S, Server
from engine.runtime.wire import Alive, Failed, Progress, pack, unpack_message

CREW = ClientId("window", "crew", 7)


class Desk:
    """A server with a clock that only the test moves, and all it heard."""

    def __init__(self) -> None:
        self.now = 100.0
        self.heard: list[tuple[ClientId, Any]] = []
        self.address: Address = new_address()
        hear = lambda who, said: self.heard.append((who, said))  # noqa: E731
        self.server = Server(self.address, hear, lambda: self.now)

    def window(self, who: ClientId = CREW):
        """A window that looks at it."""
        connection = connect(self.address)
        connection.send(pack(who))
        until(lambda: (who, "came") in self.heard)
        return connection


def until(holds: Callable[[], bool]) -> None:
    """Wait for the server's threads, no longer than needed."""
    end = time.monotonic() + 10.0
    while not holds():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.005)


def state(window: Connection) -> object:
    """What the engine says next, before it watches anything."""
    message = unpack_message(window.recv())
    assert message.watch is None
    return message.state


@pytest.fixture
def desk() -> Iterator[Desk]:
    """A server and what it serves."""
    made = Desk()
    yield made
    made.server.close()


def test_a_window_that_comes_is_told_how_it_stands(desk: Desk) -> None:
    """The newest state is sent at once, whenever a window comes."""
    desk.server.publish(Progress("rendering"))
    desk.server.publish(Progress("opening"))
    window = desk.window()
    assert state(window) == Progress("opening")
    window.close()


def test_commands_come_with_who_gave_them(desk: Desk) -> None:
    """Each command is handed on with the window that sent it, in order."""
    first, second = desk.window(), desk.window(ClientId("terminal", "mate", 8))
    first.send(pack(Standby(True)))
    second.send(pack(Stop()))
    until(lambda: len(desk.heard) == 4)
    assert (CREW, Standby(True)) in desk.heard
    assert desk.heard.count((ClientId("terminal", "mate", 8), Stop())) == 1
    assert desk.server.windows == 2
    first.close()
    second.close()


def test_it_knows_how_long_nobody_has_looked(desk: Desk) -> None:
    """Alone since the start, or since the last window left; never while one looks."""
    desk.now += 4.0
    assert desk.server.alone_s == 4.0
    window = desk.window()
    assert desk.server.alone_s == 0.0
    window.close()
    until(lambda: (CREW, "left") in desk.heard)
    desk.now += 3.0
    assert desk.server.alone_s == 3.0


def test_the_last_of_those_who_leave_is_known(desk: Desk) -> None:
    """Of two that leave in the same moment the second is the last; a phone's page does not stay."""
    other = ClientId("terminal", "cart", 8)
    windows = [desk.window(), desk.window(other), desk.window(ClientId("page", "cart", 9))]
    assert not desk.server.leaves(CREW)
    assert not desk.server.leaves(CREW)
    assert desk.server.leaves(other)
    for window in windows:
        window.close()


def test_a_frozen_window_is_noticed_and_so_is_its_return(desk: Desk) -> None:
    """A window without a sign of life is silent; the next sign brings it back. Told once each."""
    window = desk.window()
    desk.now += SILENT_S + 0.1
    desk.server.look_after()
    desk.server.look_after()
    assert [said for _, said in desk.heard] == ["came", "silent"]
    window.send(pack(Alive()))
    until(lambda: desk.server._peers[next(iter(desk.server._peers))].last_sign_at == desk.now)
    desk.server.look_after()
    assert [said for _, said in desk.heard] == ["came", "silent", "back"]
    window.close()


def test_a_stranger_is_turned_away_and_the_next_window_is_let_in(desk: Desk) -> None:
    """A wrong key, or a peer that does not say who it is, changes nothing for others."""
    with pytest.raises(Exception):  # noqa: B017, PT011 - what is raised depends on timing
        connect(Address(desk.address.path, b"wrong")).recv()
    odd = connect(desk.address)
    odd.send(b"no introduction")
    window = desk.window()
    desk.server.publish(Failed("x"))
    assert state(window) == Failed("x")
    assert desk.server.windows == 1
    odd.close()
    window.close()


def test_closing_lets_go_of_every_window() -> None:
    """When the engine ends, windows see the end of the channel and its address is gone."""
    desk = Desk()
    window = desk.window()
    desk.server.close()
    with pytest.raises((EOFError, OSError)):
        window.recv()
    with pytest.raises(FileNotFoundError):
        connect(desk.address)
    forget(desk.address)


def test_a_watch_does_not_go_on_for_its_followers(desk: Desk) -> None:
    """A page or a publisher hears all, but counts as nobody who looks."""
    page = ClientId("page", "crew", 9)
    desk.now += 2.0
    follower = desk.window(page)
    desk.server.publish(Progress("opening"))
    assert state(follower) == Progress("opening")
    assert (desk.server.windows, desk.server.alone_s) == (0, 2.0)
    follower.close()
    until(lambda: (page, "left") in desk.heard)
    assert desk.server.alone_s == 2.0


def raw(desk: Desk) -> socket.socket:
    """A connection of somebody who need not behave."""
    stranger = socket.socket(socket.AF_UNIX)
    stranger.connect(desk.address.path)
    return stranger


posix = pytest.mark.skipif(sys.platform == "win32", reason="local sockets of POSIX")


@posix
def test_who_says_nothing_keeps_no_window_out(desk: Desk) -> None:
    """Any number of silent connections: a window comes in at once, and they are turned away."""
    silent = [raw(desk) for _ in range(2 * MOST_STRANGERS)]
    until(lambda: len(desk.server._strangers) == MOST_STRANGERS)
    desk.now += HANDSHAKE_S + 0.1
    desk.server.look_after()
    until(lambda: not desk.server._strangers)
    begun = time.monotonic()
    window = desk.window()
    assert time.monotonic() - begun < 1.0
    for one in silent:
        one.settimeout(5.0)
        with suppress(OSError):
            while one.recv(1024):
                pass
        one.close()
    window.close()


@posix
@given(data=st.binary(max_size=200))
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_foreign_bytes_are_an_error_and_nothing_else(desk: Desk, data: bytes) -> None:
    """Whatever somebody with the key sends, or without it: others are not touched."""
    stranger = raw(desk)
    stranger.sendall(data)
    stranger.close()
    odd = connect(desk.address)
    odd.send(data)
    odd.close()
    window = desk.window()
    desk.server.publish(Failed("x"))
    assert state(window) == Failed("x")
    window.close()


def test_a_listener_that_raises_ends_no_thread() -> None:
    """What the engine makes of a word is its own affair: the next word is heard as well."""
    heard = []

    def hear(_: ClientId, what: object) -> None:
        heard.append(what)
        raise ZeroDivisionError

    address = new_address()
    server = Server(address, hear)
    window = connect(address)
    for word in (CREW, Standby(True), Standby(False)):
        window.send(pack(word))
    until(lambda: heard == ["came", Standby(True), Standby(False)])
    window.close()
    server.close()

"""The desktop's notification service over D-Bus: one notification at a time, replaced. No Qt.

Source: Desktop Notifications Specification 1.2 (freedesktop.org): `Notify`, `CloseNotification`,
`ActionInvoked`; urgency 2 is critical and is to stay until it was dismissed.
"""

from __future__ import annotations

import selectors
import socket
import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Any, Final

from app.models.alarm_card import Card
from engine.model.messages import Severity

if TYPE_CHECKING:
    from jeepney.io.blocking import DBusConnection

APP_NAME: Final = "trackwarden"
ANSWER_S: Final = 2.0
"""A service that takes longer counts as not there; our choice."""
FOREVER_MS: Final = 0
UNTIL_READ_MS: Final = -1
_ADDRESS: Final = {
    "object_path": "/org/freedesktop/Notifications",
    "bus_name": "org.freedesktop.Notifications",
    "interface": "org.freedesktop.Notifications",
}


_NO_MARKUP = str.maketrans({"<": "‹", ">": "›", "&": "＆"})
"""Some desktops read markup in messages; names from files must not become any."""


class Urgency(IntEnum):
    """As the specification numbers it."""

    LOW = 0
    NORMAL = 1
    CRITICAL = 2


@dataclass(frozen=True, slots=True)
class Notification:
    """What is to be shown; plain text, never markup."""

    title: str
    body: str
    urgency: Urgency = Urgency.NORMAL


def message(card: Card, also: Sequence[Card] = (), drill: bool = False) -> Notification:
    """Track, who and what; then what to check first and where; then what else. Never markup."""
    word = "" if card.severity is None else card.severity.word.upper()
    title = f"{'DRILL · ' if drill else ''}{word}: {card.title}, {card.fault}"
    others = ", ".join(f"{one.title} {one.fault}" for one in also)
    more = f"Also: {others}." if also else ""
    parts = ("No backup." if card.uncovered else "", card.check, card.where, card.cover, more)
    return Notification(
        title.translate(_NO_MARKUP),
        " ".join(part for part in parts if part).translate(_NO_MARKUP),
        Urgency.CRITICAL if card.severity is Severity.RED else Urgency.NORMAL,
    )


class NotificationService:
    """Shows the newest notification in place of the one before, on a thread of its own.

    changed : called on that thread with the service's name, or with why there is none
    clicked : called on that thread when the notification was clicked
    bus : address of the session bus; found by the environment where it is left out
    """

    def __init__(
        self,
        changed: Callable[[bool, str], None] = lambda _works, _words: None,
        clicked: Callable[[], None] = lambda: None,
        bus: str = "SESSION",
    ) -> None:
        self._changed, self._clicked, self._bus = changed, clicked, bus
        self._tasks: deque[Callable[[DBusConnection], None] | None] = deque()
        self._near, self._far = socket.socketpair()
        self._thread: threading.Thread | None = None
        self._id = 0

    def start(self) -> None:
        """Find the service."""
        self._put(lambda _connection: None)

    def show(self, notification: Notification) -> None:
        """Show it in place of the one before; returns at once."""
        self._put(lambda connection: self._notify(connection, notification))

    def clear(self) -> None:
        """Take the notification away."""
        self._put(self._close_notification)

    def close(self, wait_s: float = ANSWER_S) -> None:
        """Take the notification away and end the thread."""
        thread, self._thread = self._thread, None
        if thread is not None:
            self._tasks.extend((self._close_notification, None))
            self._wake()
            thread.join(wait_s)
        self._near.close()
        self._far.close()

    def _put(self, task: Callable[[DBusConnection], None]) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="notifications", daemon=True)
            self._thread.start()
        self._tasks.append(task)
        self._wake()

    def _wake(self) -> None:
        self._near.send(b"\0")

    # On its thread

    def _run(self) -> None:
        while True:
            try:
                self._serve()
            except Exception as error:  # whatever the desktop does, the watch goes on
                self._changed(False, _reason(error))
            else:
                return
            self._id = 0
            if not self._wait_for_task():
                return

    def _wait_for_task(self) -> bool:
        """After a failure: wait until something is to be shown again; False where it ends.

        Only the newest is: what it replaces would pile up as long as there is no service.
        """
        while True:
            self._far.recv(64)
            while len(self._tasks) > 1 and self._tasks[0] is not None:
                self._tasks.popleft()
            if None in self._tasks:
                return False
            if self._tasks:
                return True

    def _serve(self) -> None:
        """Do tasks and hear clicks until told to end."""
        from jeepney import DBusAddress, MatchRule, message_bus, new_method_call
        from jeepney.io.blocking import Proxy, open_dbus_connection

        with (
            open_dbus_connection(bus=self._bus) as connection,
            selectors.DefaultSelector() as ready,
        ):
            question = new_method_call(DBusAddress(**_ADDRESS), "GetServerInformation")
            name = _answer(connection, question)[0]
            rule = MatchRule(type="signal", member="ActionInvoked", **_of_signal())
            Proxy(message_bus, connection, timeout=ANSWER_S).AddMatch(rule)
            self._changed(True, str(name))
            ready.register(self._far, selectors.EVENT_READ)
            ready.register(connection.sock, selectors.EVENT_READ)
            with connection.filter(rule) as clicks:
                while True:
                    if not self._do_tasks(connection):
                        return
                    while clicks:
                        if clicks.popleft().body[0] == self._id:
                            self._clicked()
                    for key, _ in ready.select():
                        if key.fileobj is self._far:
                            self._far.recv(64)
                        else:
                            connection.recv_messages(timeout=ANSWER_S)

    def _do_tasks(self, connection: DBusConnection) -> bool:
        while self._tasks:
            task = self._tasks[0]
            if task is None:
                return False
            task(connection)
            self._tasks.popleft()
        return True

    def _notify(self, connection: DBusConnection, shown: Notification) -> None:
        from jeepney import DBusAddress, new_method_call

        critical = shown.urgency is Urgency.CRITICAL
        hints = {"urgency": ("y", int(shown.urgency)), "desktop-entry": ("s", APP_NAME)}
        stays_ms = FOREVER_MS if critical else UNTIL_READ_MS
        actions = ["default", "Show the track"]
        body = (APP_NAME, self._id, "", shown.title, shown.body, actions, hints, stays_ms)
        call = new_method_call(DBusAddress(**_ADDRESS), "Notify", "susssasa{sv}i", body)
        self._id = int(_answer(connection, call)[0])

    def _close_notification(self, connection: DBusConnection) -> None:
        from jeepney import DBusAddress, new_method_call

        if self._id:
            call = new_method_call(DBusAddress(**_ADDRESS), "CloseNotification", "u", (self._id,))
            _answer(connection, call)


def _of_signal() -> dict[str, str]:
    return {"interface": _ADDRESS["interface"], "path": _ADDRESS["object_path"]}


def _answer(connection: DBusConnection, call: Any) -> tuple[Any, ...]:
    from jeepney.wrappers import unwrap_msg

    reply: tuple[Any, ...] = unwrap_msg(connection.send_and_get_reply(call, timeout=ANSWER_S))
    return reply


def _reason(error: Exception) -> str:
    """One line on why there is no service."""
    if isinstance(error, TimeoutError):
        return "the desktop's notification service does not answer"
    if isinstance(error, (KeyError, FileNotFoundError, ConnectionError)):
        return "this desktop has no session bus"
    name = getattr(error, "name", "")
    if str(name).endswith(("ServiceUnknown", "NameHasNoOwner")):
        return "this desktop has no notification service"
    return " ".join(str(error).split()) or type(error).__name__


def has_bus() -> bool:
    """Desktop notifications go over D-Bus here."""
    return sys.platform.startswith("linux")

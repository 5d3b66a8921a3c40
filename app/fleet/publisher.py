"""Publishes one watch: `python -m app.fleet.publisher FOLDER mqtt://HOST/SITE/CART`.

A process of its own that follows the watch: whatever the broker does, the watch knows nothing of
it. While there is no broker nothing is queued; on return the state is made right from scratch.
"""

from __future__ import annotations

import argparse
import json
import secrets
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np

from app.fleet import broker_address, cart_messages, publishing
from app.fleet.broker_address import Broker, BrokerLogin
from app.fleet.mqtt_link import MqttLink
from app.models.whole_levels import LOWEST_DB, shown, whole_db
from engine.model.commands import Open, Watch
from engine.model.snapshot import Snapshot
from engine.runtime.client import EngineClient
from engine.session import engines

STEP_S: Final = 0.05
CHANGES_S: Final = 0.2
BEAT_S: Final = 1.0
SILENT_S: Final = 1.5
GOODBYE_S: Final = 2.0
CLEAR_UP_S: Final = 10.0
"""How long another run of this cart has time to show that it lives."""


class Link(Protocol):
    """The broker as a publisher uses it."""

    @property
    def connected(self) -> bool:
        """There is a connection."""
        ...

    def publish(self, topic: str, payload: bytes, retain: bool) -> bool:
        """Hand a message over without waiting; False where it was not taken."""
        ...


class CartPublisher:
    """Turns the snapshots of one watch into messages; says each retained one once."""

    def __init__(self, link: Link, broker: Broker, drill: bool, clock: Callable[[], float]) -> None:
        self.run = secrets.token_hex(4)
        self._link, self._broker, self._drill, self._clock = link, broker, drill, clock
        self._said: dict[str, bytes] = {}
        self._seq = 0
        self._watch: Watch | None = None
        self._snapshot: Snapshot | None = None
        self._peaks = np.zeros(0)
        self._heard_at = clock()
        self._changes_at = self._beat_at = -1e9
        self._was_connected = False
        self._left_over: dict[str, float] = {}
        self._others: set[str] = set()

    def own_topics(self) -> tuple[str, ...]:
        """What to subscribe to for `overhear`."""
        return self._topic("state"), self._topic("alarm", "+")

    def will(self) -> tuple[str, bytes]:
        """What the broker is to say when this process is gone."""
        return self._topic("state"), cart_messages.text(cart_messages.gone(), self.run, 0)

    def take_in(self, watch: Watch | None, snapshot: Snapshot | None) -> None:
        """The newest news of the watch."""
        if watch is None or snapshot is None:
            self._watch = watch or self._watch
            return
        inputs = tuple(track.input for track in watch.plan.tracks)
        if snapshot.inputs not in ((), inputs):
            return
        if self._watch is None or self._watch.plan != watch.plan or not len(self._peaks):
            self._peaks = np.full(len(inputs), float(LOWEST_DB))
        self._watch, self._snapshot, self._heard_at = watch, snapshot, self._clock()
        self._peaks = np.fmax(self._peaks, snapshot.peak_dbfs)

    def step(self) -> None:
        """Publish what is due."""
        now, connected = self._clock(), self._link.connected
        if connected and not self._was_connected:
            # Nothing is known of what the broker kept: all is said anew, and what is over by now
            # is taken away anew.
            self._said = dict.fromkeys(self._said, b"")
            self._beat_at = self._changes_at = -1e9
        self._was_connected = connected
        if not connected or self._watch is None or self._snapshot is None:
            return
        if now - self._changes_at >= CHANGES_S:
            self._changes_at = now
            self._changes(self._watch, self._snapshot)
        if now - self._beat_at >= BEAT_S:
            self._beat_at = now
            self._beat(self._watch, self._snapshot, now)
            self._clear_up(now)

    def overhear(self, topic: str, payload: bytes, retained: bool) -> None:
        """What the broker says of this cart's own topics: alarms of any run, other runs."""
        rest = topic.removeprefix(self._topic(""))
        if rest.startswith("alarm/") and payload and (retained or self._is_own(topic)):
            self._left_over[topic] = self._clock()
        elif rest == "state" and not retained:
            self._others.add(_run_of(payload))

    def _clear_up(self, now: float) -> None:
        """Take away what a run left that was not heard of for a while; never another cart's.

        Of this run, what does not stand: where a connection breaks off, its alarms may be sent
        again by the library after they were taken away.
        """
        for topic, since in list(self._left_over.items()):
            if self._is_own(topic):
                stays, due = topic in self._said, True
            else:
                stays, due = _run_in(topic) in self._others, now - since > CLEAR_UP_S
            if stays or (due and self._link.publish(topic, b"", True)):
                del self._left_over[topic]

    def _is_own(self, topic: str) -> bool:
        return _run_in(topic) == self.run

    def goodbye(self) -> None:
        """The watch is over: take the alarms away, and say so."""
        for topic in {t for t in (*self._said, *self._left_over) if self._is_own(t)}:
            self._link.publish(topic, b"", True)
        self._publish("state", cart_messages.gone(), retain=True)

    def _changes(self, watch: Watch, shot: Snapshot) -> None:
        if self._drill:
            shot = cart_messages.veiled(shot)
        wanted: dict[str, Any] = {self._topic("tracks"): cart_messages.tracks(watch, shot)}
        for name, payload in cart_messages.alarms(watch, shot).items():
            wanted[self._topic("alarm", f"{self.run}-{name}")] = payload
        for topic in [t for t in self._said if t not in wanted]:
            if self._link.publish(topic, b"", True):
                del self._said[topic]
        for topic, payload in wanted.items():
            bare = cart_messages.text(payload, self.run, 0)
            if self._said.get(topic) != bare and self._send(topic, payload, retain=True):
                self._said[topic] = bare

    def _beat(self, watch: Watch, shot: Snapshot, now: float) -> None:
        silent = now - self._heard_at > SILENT_S
        condition = "ended" if shot.ended else "silent" if silent else "watching"
        standing = self._topic("alarm", f"{self.run}-")
        names = [t.removeprefix(standing) for t in self._said if t.startswith(standing)]
        said = cart_messages.state(watch, shot, condition, self._drill)
        self._publish("state", {**said, "alarms": names}, True)
        columns = shown(watch.plan)
        inputs = [watch.plan.tracks[n].input for n in columns]
        levels = whole_db(self._peaks[columns].tolist())
        self._publish("levels", {"inputs": inputs, "dbfs": levels}, retain=False)
        self._peaks[:] = LOWEST_DB

    def _publish(self, name: str, payload: dict[str, Any], retain: bool) -> bool:
        return self._send(self._topic(name), payload, retain)

    def _send(self, topic: str, payload: dict[str, Any], retain: bool) -> bool:
        self._seq += 1
        whole = cart_messages.text(payload | {"seq": self._seq}, self.run, self._seq)
        return self._link.publish(topic, whole, retain)

    def _topic(self, *rest: str) -> str:
        return cart_messages.topic(self._broker.site, self._broker.cart, *rest)


def _run_in(topic: str) -> str:
    """Which run an alarm's topic belongs to."""
    return topic.rpartition("/")[2].partition("-")[0]


def _run_of(payload: bytes) -> str:
    try:
        said = json.loads(payload)
    except (ValueError, RecursionError):
        return ""
    return str(said.get("run", "")) if isinstance(said, dict) else ""


def publish(folder: Path, broker: Broker, login: BrokerLogin, address: str) -> int:
    """Publish the watch of that session until it is over, or until another is to do it.

    Raises
    ------
    OSError
        Where a file of the login can't be read; `publishing.status` says so as well.
    """
    desk = publishing.Publishing(folder, address)
    try:
        link = MqttLink(broker, login)
    except OSError as error:
        desk.tell(f"not published: {error}")
        raise
    running = engines.left_running(folder)
    drill = running is not None and running.request.seed is not None
    client = EngineClient(Open(), "publisher", folder, follows=True)
    cart = CartPublisher(link, broker, drill, time.monotonic)
    link.follow(cart.overhear, cart.own_topics())
    link.open(cart.will())
    over = False
    try:
        while not over and desk.wanted():
            try:
                watch, newest = client.watch(), client.latest()
            except (OSError, ValueError):
                break
            cart.take_in(watch, newest)
            cart.step()
            desk.tell(link.problem)
            over = newest is not None and newest.ended
            time.sleep(STEP_S)
    finally:
        cart.goodbye()
        time.sleep(GOODBYE_S if link.connected else 0.0)
        link.close()
        client.close()
        desk.end()
    return 0


def main() -> int:
    """Publish one session."""
    parser = argparse.ArgumentParser(description="publishes the watch of one session by MQTT")
    parser.add_argument("folder", type=Path)
    parser.add_argument("broker", metavar="mqtt://HOST/SITE/CART")
    parser.add_argument("--login", default="", metavar="FILE")
    parser.add_argument("--ca", default="", metavar="PEM")
    given = parser.parse_args()
    with suppress(KeyboardInterrupt):
        broker = broker_address.parse(given.broker, cart=True)
        return publish(given.folder, broker, BrokerLogin(given.login, given.ca), given.broker)
    return 0


if __name__ == "__main__":
    sys.exit(main())

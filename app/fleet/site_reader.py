"""Follows a site's messages at the broker and puts all carts together."""

from __future__ import annotations

import queue
import time
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.subscribeoptions import SubscribeOptions

from app.fleet.all_carts import AllCarts
from app.fleet.broker_address import Broker
from app.fleet.publisher import MqttLink

MOST_WAITING: Final = 20_000


class SiteReader:
    """A subscription to a site; levels are not asked for, they are most of the traffic."""

    def __init__(self, broker: Broker) -> None:
        self.carts = AllCarts(broker.site)
        self._site = broker.site
        self._link = MqttLink(broker)
        self._waiting: queue.Queue[tuple[str, bytes, bool, float]] = queue.Queue(MOST_WAITING)
        self._link.client.on_connect = self._subscribe
        self._link.client.on_message = self._note
        self._link.open()

    @property
    def connected(self) -> bool:
        """The broker answers."""
        return self._link.connected

    def take_in(self) -> bool:
        """All messages that came since the last call; whether there were any."""
        came = False
        while True:
            try:
                topic, payload, retained, at = self._waiting.get_nowait()
            except queue.Empty:
                return came
            self.carts.receive(topic, payload, at, retained)
            came = True

    def close(self) -> None:
        """Let go of the broker."""
        self._link.close()

    def _subscribe(self, client: mqtt.Client, *_: Any) -> None:
        topics = (f"{self._site}/+/state", f"{self._site}/+/alarm/+")
        client.subscribe([(topic, SubscribeOptions(qos=1)) for topic in topics])

    def _note(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        one = (message.topic, bytes(message.payload), bool(message.retain), time.monotonic())
        try:
            self._waiting.put_nowait(one)
        except queue.Full:  # state and alarms are made right by the next connection
            self._link.client.reconnect()

"""A connection to the broker that comes back by itself, and says why there is none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.subscribeoptions import SubscribeOptions

from app.fleet.broker_address import FROM_ENVIRONMENT, Broker, BrokerLogin
from engine.model.safe_text import harmless

KEEPALIVE_S: Final = 3
"""The broker speaks a cart's last will after one and a half times this (MQTT 5, 3.1.2.10)."""
MOST_WAITING: Final = 2000
"""Messages handed to the library and not yet sent; beyond, all is sent anew on return."""
NO_ANSWER: Final = "the broker does not answer"
BROKE_OFF: Final = "the connection to the broker broke off"
REFUSES: Final = "the broker refuses: "

Hear = Callable[[str, bytes, bool], None]


class MqttLink:
    """Works on a thread of the library's own; no call but `close` waits for a network.

    Raises
    ------
    OSError
        Where the file of the login, or of the broker's authority, can't be read.
    """

    def __init__(self, broker: Broker, login: BrokerLogin = FROM_ENVIRONMENT) -> None:
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5, transport="tcp"
        )
        self._broker = broker
        self._problem = NO_ANSWER
        self._topics: tuple[str, ...] = ()
        self._hear: Hear | None = None
        self.client.max_queued_messages_set(MOST_WAITING)
        self.client.reconnect_delay_set(1, 5)
        secret = login.name_and_password()
        if secret is not None:
            self.client.username_pw_set(*secret)
        if broker.tls:
            self.client.tls_set(ca_certs=login.authority())
        self.client.on_connect = self._connected
        self.client.on_connect_fail = self._unreached
        self.client.on_disconnect = self._disconnected
        self.client.on_message = self._message

    @property
    def connected(self) -> bool:
        """There is a connection."""
        return self.client.is_connected()

    @property
    def problem(self) -> str:
        """Why there is no connection, one line; empty while there is one."""
        return "" if self.connected else self._problem

    def publish(self, topic: str, payload: bytes, retain: bool) -> bool:
        """Hand a message over without waiting; False where it was not taken."""
        try:
            return self.client.publish(topic, payload, qos=1, retain=retain).rc == 0
        except ValueError:  # the queue is full
            return False

    def follow(self, hear: Hear, topics: tuple[str, ...]) -> None:
        """Subscribe whenever there is a connection; `hear` is called on the library's thread."""
        self._hear, self._topics = hear, topics

    def open(self, will: tuple[str, bytes] | None = None) -> None:
        """Begin to connect."""
        if will is not None:
            self.client.will_set(*will, qos=1, retain=True)
        self.client.connect_async(self._broker.host, self._broker.port, KEEPALIVE_S)
        self.client.loop_start()

    def close(self) -> None:
        """In good order: the last will is not spoken. May wait for the network."""
        self.client.disconnect()
        self.client.loop_stop()

    # ---- on the library's thread -----------------------------------------------------------------

    def _connected(self, client: mqtt.Client, _data: Any, _flags: Any, code: Any, _: Any) -> None:
        if code.is_failure:
            self._problem = f"{REFUSES}{harmless(str(code)).lower()}"
            return
        self._problem = NO_ANSWER
        if self._topics:
            client.subscribe([(topic, SubscribeOptions(qos=1)) for topic in self._topics])

    def _unreached(self, _client: mqtt.Client, _data: Any) -> None:
        self._problem = NO_ANSWER

    def _disconnected(self, *_: Any) -> None:
        if not self._problem.startswith(REFUSES):
            self._problem = BROKE_OFF

    def _message(self, _client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        if self._hear is not None:
            self._hear(message.topic, bytes(message.payload), bool(message.retain))

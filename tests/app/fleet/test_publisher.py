"""What a cart says to its broker, and what it says anew."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from app.fleet.broker_address import Broker
from app.fleet.publisher import CLEAR_UP_S, SILENT_S, CartPublisher
from engine.model.messages import Alarm
from tests.app.page.test_access import Clock
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
ALARMS = fake_client.tower_alarms()
WHERE = Broker("h", 1883, False, "belfry", "main")


class Night:
    """A publisher at a broker that the test plays."""

    def __init__(self, drill: bool = False) -> None:
        self.clock = Clock()
        self.connected = True
        self.said: list[tuple[str, bytes, bool]] = []
        self.kept: dict[str, Any] = {}
        self.cart = CartPublisher(self, WHERE, drill, self.clock)
        self.shot = fake_client.snapshot(PLAN)

    def publish(self, topic: str, payload: bytes, retain: bool) -> bool:
        """Keep what is retained, as a broker does."""
        self.said.append((topic, payload, retain))
        if retain and payload:
            self.kept[topic] = json.loads(payload)
        elif retain:
            self.kept.pop(topic, None)
        return True

    def run(self, seconds: float, alarms: tuple[Alarm, ...] = (), **more: Any) -> list[str]:
        """Let that much time pass; returns the topics of what was said."""
        self.said.clear()
        for _ in range(round(seconds / 0.05)):
            self.clock.now += 0.05
            if more.get("silent"):
                self.cart.take_in(None, None)
            else:
                self.shot = fake_client.snapshot(PLAN, alarms, self.shot.now_s + 0.05)
                self.cart.take_in(fake_client.watch(PLAN), replace(self.shot, **more))
            self.cart.step()
        return [topic for topic, _, _ in self.said]

    def alarms(self) -> list[Any]:
        """The alarms that are retained."""
        return [said for topic, said in self.kept.items() if "/alarm/" in topic]


def test_state_and_levels_come_once_a_second_tracks_when_they_change() -> None:
    """Levels are not retained: old ones say nothing."""
    night = Night()
    topics = night.run(5.0)
    assert topics.count("belfry/main/state") == 5
    assert topics.count("belfry/main/levels") == 5
    assert topics.count("belfry/main/tracks") == 1
    assert {topic for topic, _, retain in night.said if not retain} == {"belfry/main/levels"}
    state = night.kept["belfry/main/state"]
    assert (state["schema"], state["alive"], state["title"]) == (1, True, "Raising the bell")
    assert len(night.kept["belfry/main/tracks"]["tracks"]) == 13


def test_an_alarm_is_said_once_with_all_its_words_and_taken_away() -> None:
    """What the glance view says of it; an empty retained message when it is over."""
    night = Night()
    topics = night.run(3.0, ALARMS)
    assert sum("/alarm/" in topic for topic in topics) == 3
    worst = next(said for said in night.alarms() if said["uncovered"])
    assert (worst["numbers"], worst["name"], worst["fault"]) == ("7 + 8", "Foreman", "silent")
    assert worst["check"]
    night.run(1.0)
    assert night.alarms() == []


def test_messages_are_numbered() -> None:
    """Of one run, each greater than the one before."""
    night = Night()
    night.run(3.0, ALARMS)
    numbers = [json.loads(payload)["seq"] for _, payload, _ in night.said if payload]
    assert numbers == sorted(set(numbers))
    assert {json.loads(p)["run"] for _, p, _ in night.said if p} == {night.cart.run}


def test_on_return_all_is_said_anew() -> None:
    """A broker that forgot everything has the whole state within a fifth of a second."""
    night = Night()
    night.run(2.0, ALARMS)
    before = set(night.kept)
    night.connected = False
    assert night.run(5.0, ALARMS) == []
    night.kept.clear()
    night.connected = True
    night.run(0.3, ALARMS)
    assert set(night.kept) == before


def test_an_alarm_that_ended_without_a_connection_is_taken_away_on_return() -> None:
    """The broker kept it; a lamp that follows the topic would stay on."""
    night = Night()
    night.run(2.0, ALARMS)
    night.connected = False
    night.run(5.0)
    assert night.alarms()
    night.connected = True
    night.run(0.3)
    assert night.alarms() == []
    assert night.kept["belfry/main/state"]["alarms"] == []


@pytest.mark.parametrize("retained", [False, True])
def test_an_alarm_that_comes_late_is_taken_away_again(retained: bool) -> None:
    """Sent once more by the library after it was over; one that stands stays."""
    night = Night()
    night.run(2.0, ALARMS)
    for topic, kept in [item for item in night.kept.items() if "/alarm/" in item[0]]:
        night.cart.overhear(topic, json.dumps(kept).encode(), retained)
    night.run(2.0, ALARMS)
    late = {topic: kept for topic, kept in night.kept.items() if "/alarm/" in topic}
    assert len(late) == 3
    night.run(2.0)
    for topic, kept in late.items():
        night.kept[topic] = kept
        night.cart.overhear(topic, json.dumps(kept).encode(), retained)
    night.run(1.2)
    assert night.alarms() == []


def test_a_drill_is_published_without_the_names_of_its_faults() -> None:
    """Neither tracks nor alarms give away what the mixer is to find."""
    night = Night(drill=True)
    night.run(1.0, ALARMS)
    everything = b" ".join(payload for _, payload, _ in night.said)
    for word in (b"muted", b"silent", b"clipping"):
        assert word not in everything
    assert night.kept["belfry/main/state"]["drill"] is True


def test_a_watch_without_news_is_said_to_be_silent() -> None:
    """The cart lives, its watch does not answer."""
    night = Night()
    night.run(1.0)
    night.run(SILENT_S + 1.1, silent=True)
    assert night.kept["belfry/main/state"]["condition"] == "silent"


def test_the_last_will_says_that_the_watch_is_gone() -> None:
    """To the topic that everybody reads, of this very run."""
    night = Night()
    topic, payload = night.cart.will()
    said = json.loads(payload)
    assert (topic, said["alive"], said["run"]) == ("belfry/main/state", False, night.cart.run)
    night.run(1.0, ALARMS)
    night.cart.goodbye()
    assert night.alarms() == []
    assert night.kept["belfry/main/state"]["alive"] is False


@pytest.mark.parametrize("lives", [False, True])
def test_what_a_dead_run_left_is_cleared_up(lives: bool) -> None:
    """Alarms of a run that is not heard of; those of another cart under this name stay."""
    night = Night()
    night.run(1.0)
    night.kept["belfry/main/alarm/0ld-5"] = {}
    night.cart.overhear("belfry/main/alarm/0ld-5", b"{}", True)
    if lives:
        night.cart.overhear("belfry/main/state", b'{"run": "0ld"}', False)
    night.run(CLEAR_UP_S + 1.5)
    assert ("belfry/main/alarm/0ld-5" in night.kept) is lives

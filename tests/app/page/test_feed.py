"""What phones are told, and when."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from app.page.feed import BEAT_S, PATCH_S, SILENT_S, Feed
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan
from tests.app.page.test_access import Clock
from tests.app.page.test_document import merged
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
ALARMS = fake_client.tower_alarms()


class Night:
    """A feed of a made-up watch, stepped by the test."""

    def __init__(self, drill: bool = False) -> None:
        self.clock = Clock()
        self.next: Snapshot | None = fake_client.snapshot(PLAN)
        self.client = fake_client.FakeClient(fake_client.watch(PLAN), lambda call: self.next)
        self.feed = Feed(self.client, drill, self.clock)
        self.page: Any = {}
        self.sizes: list[int] = []

    def run(self, seconds: float, alarms: Any = None, **more: Any) -> list[dict[str, Any]]:
        """Let that much time pass, twenty looks a second; returns the messages."""
        made = []
        for _ in range(round(seconds / 0.05)):
            self.clock.now += 0.05
            if self.next is not None:
                shown = self.next.alarms if alarms is None else alarms
                now_s = self.next.now_s + 0.05
                self.next = replace(fake_client.snapshot(PLAN, shown, now_s), **more)
            text = self.feed.step()
            if text is not None:
                self.sizes.append(len(text.encode()))
                made.append(json.loads(text))
                self.page = merged(self.page, made[-1].get("patch", {}))
        return made


def test_there_is_news_at_least_every_beat() -> None:
    """A quiet watch is heard of twice a second; the clock is the watch's own."""
    night = Night()
    night.run(1.0)
    made = night.run(5.0)
    assert len(made) >= 5.0 / (BEAT_S + 0.1)
    label = label_at(19 * 3600 + made[-1]["t"], FRAME_RATES[PLAN.frame_rate])
    assert made[-1]["c"] == label[:8]


def test_patches_lead_to_what_a_newcomer_gets() -> None:
    """Who followed all changes has the same document as who comes now."""
    night = Night()
    night.run(1.0)
    night.run(2.0, ALARMS)
    night.run(1.0, ALARMS[1:], standby=True)
    assert night.page == json.loads(night.feed.full())["full"]
    assert night.page["head"]["word"] == "standby"


def test_an_alarm_is_told_at_once_but_at_most_five_times_a_second() -> None:
    """A new alarm waits for at most a fifth of a second."""
    night = Night()
    night.run(1.0)
    made = night.run(PATCH_S + 0.05, ALARMS)
    assert len(next(m for m in made if "patch" in m)["patch"]["cards"]) == 3
    made = [m for n in range(40) for m in night.run(0.05, ALARMS[n % 2 :])]
    assert len(made) <= 2.0 / PATCH_S + 1


def test_a_minute_costs_little() -> None:
    """Under 4 kB a second for a phone at 16 tracks and a dozen alarms that come and go."""
    night = Night()
    night.run(1.0)
    night.sizes.clear()
    for second in range(30):
        night.run(1.0, ALARMS if second % 4 < 2 else ())
    assert sum(night.sizes) / 30.0 < 4000


def test_levels_come_once_a_second_for_every_track_in_use() -> None:
    """The highest peak of the second, whole dB."""
    night = Night()
    made = [m["levels"] for m in night.run(5.0) if "levels" in m]
    assert len(made) == 5
    assert {len(levels) for levels in made} == {13}
    assert json.loads(night.feed.full())["minute"] == made


@pytest.mark.parametrize("how", ["silent", "stopped"])
def test_a_watch_without_news_is_told_as_such(how: str) -> None:
    """Since when, by its own clock; messages go on, and it comes back by itself."""
    night = Night()
    night.run(1.0)
    last = night.next
    assert last is not None
    night.next = None
    night.client.stopped = "its process has ended" if how == "stopped" else ""
    night.run(SILENT_S + 0.3)
    text = f"No news from the watch since {last.timecode[:8]}"
    assert night.page["head"] | {"word": "silent", "text": text} == night.page["head"]
    night.client.stopped, night.next = "", last
    night.run(0.3)
    assert night.page["head"]["word"] == "watching"


def test_a_watch_that_ends_says_so() -> None:
    """By itself, or because it broke off."""
    night = Night()
    night.run(1.0)
    night.run(1.0, ended=True)
    assert night.page["head"]["text"].startswith("The watch has ended at ")
    assert night.feed.over
    night = Night()
    night.run(1.0)
    night.client.watch = _failing  # type: ignore[method-assign]
    night.run(1.0)
    assert night.page["head"]["text"] == "The watch is over: stopped in another window"


def _failing() -> None:
    raise ValueError("stopped in another window")


def test_a_break_is_told() -> None:
    """Standby and break both, the break first."""
    night = Night()
    shot = fake_client.snapshot(PLAN)
    night.run(1.0, desk=replace(shot.desk, break_since_s=1.0), standby=True)
    assert night.page["head"]["text"] == "Break"


def test_a_changed_plan_begins_a_new_minute() -> None:
    """Levels of other tracks are not continued."""
    night = Night()
    night.run(3.0)
    plan = Plan(PLAN.tracks[:3])
    night.client.watching = fake_client.watch(plan)
    night.next = None
    night.run(0.2)
    night.next = replace(fake_client.snapshot(plan), inputs=(1, 2, 3))
    night.clock.now += 1.0
    night.feed.step()
    assert {len(levels) for levels in json.loads(night.feed.full())["minute"]} == {3}


def test_phones_may_speak_only_of_what_they_see() -> None:
    """The ids of the cards, and no others."""
    night = Night()
    night.run(1.0, ALARMS)
    shown = json.loads(night.feed.full())["full"]["cards"].values()
    assert night.feed.incidents == {number for card in shown for number in card["ids"]}

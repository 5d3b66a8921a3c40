"""A watch in the terminal: deaths, a frozen engine, and what stands are told each time."""

from __future__ import annotations

import argparse
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from app.alerts.notification_service import Notification
from app.cli import watch_command
from app.cli.companions import Companions
from app.cli.watch_command import FROZEN_S, _Printer
from app.cli.watch_text import standing_lines
from engine.model.frame_rates import FRAME_RATES, frame_of_day
from engine.model.messages import (
    Alarm,
    AlarmEvent,
    AlarmState,
    EventKind,
    Fault,
    Incident,
    Severity,
)
from engine.model.snapshot import Snapshot
from engine.session.folders import LOG
from engine.session.writer import SessionWriter
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
NOTHING_BESIDE = Companions(
    argparse.Namespace(page=None, page_tls="", publish=None), SimpleNamespace(folder=Path())
)
MUTED = Alarm(Incident(1, 1, Fault.MUTED, Severity.RED, 3.0), AlarmState.UNACKNOWLEDGED)
OVER = Alarm(Incident(2, 2, Fault.HUM, Severity.AMBER, 3.0, end_s=4.0), AlarmState.RETURNED)
PART = Alarm(Incident(3, 3, Fault.SILENT, Severity.RED, 3.0, part_of="A"), AlarmState.SUPPRESSED)


class Engine:
    """What the client says at each turn of the printer's loop."""

    def __init__(self, turns: list[Any], joined: bool = False) -> None:
        self.turns, self.joined = turns, joined
        self.folder = Path("session")
        self.progress = self.stopped = ""

    def watch(self) -> object:
        """The watch has begun."""
        return fake_client.watch(PLAN)

    def latest(self) -> Snapshot | None:
        """The next turn: a snapshot, or None."""
        turn = self.turns.pop(0) if self.turns else fake_client.snapshot(PLAN, ended=True)
        if self.turns and isinstance(self.turns[0], str):
            self.stopped = self.turns.pop(0).removeprefix("-")
        return turn


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """Runs a printer on an engine with a clock that moves by a second a turn."""
    now = [100.0]

    def sleep(_: float) -> None:
        now[0] += 1.0

    monkeypatch.setattr(watch_command.time, "sleep", sleep)
    monkeypatch.setattr(watch_command.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(watch_command, "_has_desktop", lambda: False)
    monkeypatch.setattr(watch_command, "not_kept", lambda: "")

    def run(engine: Engine) -> tuple[str, str]:
        _Printer(engine, NOTHING_BESIDE, as_json=False).run()
        said = capsys.readouterr()
        return said.out, said.err

    return run


def shot(**more: Any) -> Snapshot:
    """How the watch stands."""
    return fake_client.snapshot(PLAN, **more)


def test_every_death_of_the_engine_is_told(printed) -> None:
    """Five times in a row the very same words: five lines."""
    turns = [item for _ in range(5) for item in (shot(), "watch stopped", None, "-", shot())]
    _, err = printed(Engine(turns))
    assert err.count("watch stopped") == 5


def test_an_engine_that_does_not_answer_is_told_once_and_so_is_its_return(printed) -> None:
    """While it lives but says nothing."""
    _, err = printed(Engine([shot(), *[None] * 9, shot(), shot()]))
    assert err.count("has not answered") == 1
    assert err.count("answers again") == 1
    assert FROZEN_S < 5.0


def test_a_notice_that_comes_again_is_told_again(printed) -> None:
    """An input that is lost for the second time is as lost as the first time."""
    turns = [shot(notice="gone"), shot(notice="gone"), shot(), shot(notice="gone")]
    _, err = printed(Engine(turns))
    assert err.count("gone") == 2


@pytest.mark.parametrize(("joined", "times"), [(True, 1), (False, 0)])
def test_who_joins_is_told_what_stands(printed, joined: bool, times: int) -> None:
    """Once, and not where the watch has only begun."""
    turns = [shot(alarms=(MUTED, OVER, PART)), shot(alarms=(MUTED, OVER, PART))]
    out, _ = printed(Engine(turns, joined))
    assert out.count("standing alarms: 1") == times
    assert out.count("RED") == times


def test_what_stands_is_told_after_a_restart(printed) -> None:
    """Another engine has taken over: nobody need scroll back."""
    turns = [shot(), "watch stopped", None, "-", shot(alarms=(MUTED,)), shot(alarms=(MUTED,))]
    out, _ = printed(Engine(turns))
    assert out.count("standing alarms: 1") == 1


def test_a_drill_says_so_in_its_first_line_and_in_its_alerts(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its alerts look real: nobody is to take them for the night's."""
    titles: list[str] = []

    class Desktop:
        def __init__(self, _: object) -> None:
            """Always there."""

        def show(self, notification: Notification) -> None:
            titles.append(notification.title)

    monkeypatch.setattr(watch_command.time, "sleep", lambda _: None)
    monkeypatch.setattr(watch_command, "_has_desktop", lambda: True)
    monkeypatch.setattr(watch_command, "NotificationService", Desktop)
    raised = AlarmEvent(EventKind.RAISED, 1.0, MUTED, audible=True)
    engine = Engine([shot(alarms=(MUTED,), events=(raised,))])
    _Printer(engine, NOTHING_BESIDE, as_json=False, drill=True).run()
    assert capsys.readouterr().out.startswith("DRILL · watching ")
    assert [title.split(":")[0] for title in titles] == ["DRILL · RED"]


def test_nothing_that_is_over_stands() -> None:
    """Nor what another alarm speaks for."""
    lines = standing_lines(shot(alarms=(OVER, PART)), PLAN)
    assert lines == ["no alarm stands"]


def test_a_watch_that_ended_before_its_log_began_is_summed_up_all_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a busy computer Ctrl+C may come first: one line says so, and times have their labels."""
    SessionWriter(tmp_path / LOG).close()
    watch = fake_client.watch(fake_client.tower_plan())
    incidents, watched_s, lost_s, label = watch_command._logged(tmp_path, watch)
    assert (tuple(incidents), watched_s, lost_s) == ((), 0.0, 0.0)
    rate = FRAME_RATES[watch.plan.frame_rate]
    assert label(0.0) == rate.label(frame_of_day(watch.start_s, rate))
    assert "holds nothing to sum up" in capsys.readouterr().err

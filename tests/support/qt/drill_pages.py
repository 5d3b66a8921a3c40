"""Pages of the drill, for its tests and for screenshots."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pytestqt.qtbot import QtBot

from app.views.drill.score_page import ScorePage
from app.window.main_window import MainWindow
from engine.drill.drill_history import Past, past_of
from engine.drill.finish import Finished
from engine.drill.read_log import Drill
from engine.drill.score import Result, Score
from engine.model.commands import Open
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.messages import Alarm, Fault, Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan
from tests.support.qt import fake_client, pages

REQUEST = Open(demo=True, seed=7, level="real")


def truth(number: int, cause: Cause, tracks: tuple[int, ...], onset_s: float) -> Truth:
    """One fault of eight seconds."""
    severity = None if cause is Cause.NOTHING else Severity.RED
    return Truth(number, cause, tracks, onset_s, onset_s + 8.0, 0.5, severity, "")


def drill(unseen: bool = False) -> Drill:
    """A drill of five, one of them missed; `unseen`: all of them."""
    receiver = (5, 6, 7, 8, 9)
    results: tuple[Result, ...] = (
        Result(truth(1, Cause.MUTED, (5,), 21.0), 21.5, Fault.MUTED, 24.1, Cause.MUTED),
        Result(truth(2, Cause.NOTHING, (1, 2), 36.0)),
        Result(truth(3, Cause.RECEIVER, receiver, 52.0), 52.5, Fault.MUTED, 55.8, Cause.RECEIVER),
        Result(truth(4, Cause.HUM, (9,), 74.0), 77.2, Fault.HUM, 81.0, Cause.NOISE_BURST),
        Result(truth(5, Cause.CLIPPED, (3,), 75.0), 75.1, Fault.CLIPPED),
    )
    if unseen:
        results = tuple(replace(r, seen_s=None, called=None) for r in results)
    score = Score(results, 1, 0, 7.5, 3.8, 100.0)
    tracks = fake_client.tower_plan().tracks
    told = ("raising-the-bell.wav", "Raising the bell", 7, "real", False)
    return Drill(1_773_500_000_000, *told, tracks, score)


def finished(folder: Path) -> Finished:
    """That drill after three earlier ones."""
    now = past_of(drill(), "d")
    day_ms = 86_400_000
    before: list[Past] = [
        replace(now, session="a", utc_ms=now.utc_ms - 9 * day_ms, level="easy", seen_s=12.4),
        replace(past_of(drill(unseen=True), "b"), utc_ms=now.utc_ms - 5 * day_ms),
        replace(now, session="c", utc_ms=now.utc_ms - day_ms, seen_s=7.9, missed=2, blind=True),
    ]
    return Finished(drill(), (*before, now), folder / "drill.html")


class Stage:
    """A window in a drill; the test sets the alarms."""

    def __init__(
        self,
        folder: Path,
        qtbot: QtBot | None = None,
        request: Open = REQUEST,
        size: tuple[int, int] = (1440, 900),
        plan: Plan | None = None,
    ) -> None:
        self.plan = plan or fake_client.tower_plan()
        self.alarms: tuple[Alarm, ...] = ()
        self.ended = False
        self.calls = 0
        self.client = fake_client.FakeClient(
            fake_client.watch(self.plan, live=False), self.snapshot
        )
        self.window, self.player = pages.make_window(folder, fake_client.factory_of(self.client))
        if qtbot is not None:
            qtbot.addWidget(self.window)
        self.window.resize(*size)
        pages.show(self.window)
        self.window.open(request)
        self.window.bridge._timer.stop()
        self.look()
        self.client.sent.clear()

    def snapshot(self, call: int) -> Snapshot:
        """As it stands."""
        return fake_client.snapshot(
            self.plan, self.alarms, fake_client.NOW_S + call * 0.05, ended=self.ended
        )

    def look(self, alarms: tuple[Alarm, ...] | None = None) -> None:
        """One more snapshot, with these alarms from now on."""
        self.alarms = self.alarms if alarms is None else alarms
        self.window.bridge.poll()


def board(folder: Path) -> MainWindow:
    """Faults on the board that wait for a name."""
    stage = Stage(folder)
    stage.look(fake_client.tower_alarms())
    return stage.window


def blind(folder: Path) -> MainWindow:
    """The same board, blind."""
    stage = Stage(folder, request=replace(REQUEST, blind=True))
    stage.look(fake_client.tower_alarms())
    return stage.window


def choice(folder: Path) -> MainWindow:
    """What the drill shall be."""
    window, _ = pages.make_window(folder)
    window.drills.ask(["/shoot/tower/night_03.wav"], None)
    return window


def score(folder: Path) -> MainWindow:
    """The end of a drill."""
    stage = Stage(folder)
    window = stage.window
    window.layer.open(ScorePage(window.pages, window.look, finished(folder)))
    return window


DRILL_PAGES = {
    "drill": board,
    "drill_blind": blind,
    "drill_choice": choice,
    "drill_score": score,
}

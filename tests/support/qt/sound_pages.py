"""Pages of listening, line check and plan, for the screenshots."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from app.views.plan.plan_page import PlanPage
from app.window.main_window import MainWindow
from engine.model.early_signs import EarlySign, SignKind
from engine.model.line_results import Heard as LineHeard
from engine.model.line_results import LineCheck
from engine.model.listening import Listening
from engine.model.pickups import Pickup
from engine.model.round_state import Heard, RoundState
from tests.app.controllers.test_line_check_controller import DONE, ORDER, VOICE, Deck
from tests.app.controllers.test_plan_live import made as watching_plan
from tests.support.checkout import ROOT
from tests.support.qt import fake_client, pages


def board(folder: Path) -> MainWindow:
    """The board of the tower."""
    return pages.watching(folder, fake_client.tower_plan(), fake_client.tower_alarms())[0]


def listening(folder: Path) -> MainWindow:
    """The board while a safety is heard, matched to its main."""
    plan, alarms = fake_client.tower_plan(), fake_client.tower_alarms()
    window, crew, _ = pages.watching(folder, plan, alarms)
    heard = Listening(4, fake_client.NOW_S - 12.0, live=False, matched_db=11.6, kept_s=60.0)
    crew.client.script = lambda call: fake_client.snapshot(
        plan, alarms, fake_client.NOW_S + call * 0.05, listening=heard
    )
    return window


def round_and_signs(folder: Path) -> MainWindow:
    """The board in a round, with three early signs, and somebody lost whom the boom hears."""
    plan, alarms = fake_client.tower_plan(), fake_client.tower_alarms()
    window, crew, _ = pages.watching(folder, plan, alarms)
    creep = tuple(-57.0 + 0.002 * max(n - 60, 0) ** 1.6 for n in range(120))
    signs = (
        EarlySign(1, SignKind.NOISE_FLOOR, (2,), fake_client.NOW_S - 600.0, -57.0, -51.0, creep),
        EarlySign(2, SignKind.GAPS, (3, 4), fake_client.NOW_S - 240.0, 0.0, 3.0, creep, "A"),
        EarlySign(-18, SignKind.BATTERY, (9,), fake_client.NOW_S - 90.0, 75.0, 40.0),
    )
    heard = tuple(Heard(n, 0.0, fake_client.NOW_S - 240.0 * n) for n in (1, 2, 10))
    beside: dict[str, Any] = {
        "signs": signs,
        "round": RoundState(5, 4.6, due=(11, 12, 13, 3), heard=heard),
        "pickups": (Pickup("Foreman", 9, 14.0, -6.0, 0.003, 12, fake_client.NOW_S),),
    }
    crew.client.script = lambda call: replace(
        fake_client.snapshot(plan, alarms, fake_client.NOW_S + call), **beside
    )
    return window


def with_headphones(folder: Path) -> MainWindow:
    """The board under the headphones' page."""
    window = board(folder)
    window.headphones.show_page()
    return window


def with_caution(folder: Path) -> MainWindow:
    """The board under the caution before the first listening."""
    window = board(folder)
    window.watch_page.board.choose((3,))
    window.headphones.listen()
    return window


def line_check(heard: LineHeard | None) -> Callable[[Path], MainWindow]:
    """A line check that asks for input 3, or is at its end."""

    def made(folder: Path) -> MainWindow:
        deck = Deck(folder, None, (1440, 900))
        deck.window.line_checks.check_all()
        at = None if heard is None else 3
        deck.look(LineCheck(ORDER, at, heard or LineHeard(), DONE))
        return deck.window

    return made


def with_plan(folder: Path) -> MainWindow:
    """The demo plan as a table, with a mistake in one cell."""
    text = (ROOT / "demo_audio" / "plan.toml").read_text(encoding="utf-8")
    window = watching_plan(folder, None, text)
    window.plans.show()
    page = window.layer.current
    assert isinstance(page, PlanPage)
    model = page.model
    model.setData(model.index(2, 2), "lavv")
    page.table.setCurrentIndex(model.index(2, 2))
    return window


SOUND_PAGES = {
    "plan": with_plan,
    "listening": listening,
    "round": round_and_signs,
    "headphones": with_headphones,
    "caution": with_caution,
    "lines": line_check(replace(VOICE, clipped=True, inverted=True)),
    "lines_patch": line_check(LineHeard(elsewhere=6)),
    "lines_end": line_check(None),
}

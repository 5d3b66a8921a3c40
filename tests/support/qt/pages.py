"""Builds every page of the window, for the tests and for screenshots."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PySide6.QtCore import QSettings
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QWidget

from app.alerts.chime import ChimeSettings, Player, Sound
from app.alerts.desktop_alerts import DesktopAlerts
from app.alerts.notification_service import Notification
from app.services.background import Background
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.window.main_window import MainWindow
from engine.model.commands import Open
from engine.model.messages import Alarm
from engine.model.tracks import Plan
from tests.support.qt import fake_client


@dataclass(frozen=True, slots=True)
class FakeInput:
    """A live input of no real machine."""

    index: int
    name: str
    channels: int
    host_api: str = "ALSA"
    default_rate_hz: float = 48_000.0


INPUTS = (FakeInput(0, "Field interface", 16), FakeInput(3, "Built-in microphone", 2))


class MutePlayer(Player):
    """Notes what it should have played; does other work at once, on the caller's thread."""

    def __init__(self) -> None:
        super().__init__(lambda _words: None)
        self.played: list[Sound] = []

    def play(self, sound: Sound, settings: ChimeSettings) -> None:
        """Note it."""
        self.played.append(sound)

    def ask(self, work: Callable[[], Any], answer: Callable[[Any], None]) -> None:
        """Do it now; the machine's outputs are none of a test's business."""
        found = work() if work.__module__ != "app.alerts.chime" else ["Headphones", "Monitor"]
        answer(found)


class AtOnce(Background):
    """Does work at once, on the caller's thread."""

    def ask(self, work: Callable[[], object], take: Callable[..., None]) -> None:
        """Do it now."""
        take(work())


class NoDesktop:
    """Notes what it should have shown on the desktop."""

    def __init__(self) -> None:
        self.shown: list[Notification] = []

    def start(self) -> None:
        """Nothing to find."""

    def show(self, notification: Notification) -> None:
        """Note it."""
        self.shown.append(notification)

    def clear(self) -> None:
        """Forget it."""
        self.shown.clear()

    def close(self) -> None:
        """Nothing to let go of."""


class Clock:
    """Seconds that a test moves by hand."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        """The time."""
        return self.now_s


def no_desktop(window: QWidget) -> DesktopAlerts:
    """Alerts of that window that reach no desktop."""
    return DesktopAlerts(window, lambda _changed, _clicked: NoDesktop())


def make_window(
    folder: Path,
    factory: Callable[[Open], Any] = lambda _request: None,
    clock: Callable[[], float] | None = None,
) -> tuple[MainWindow, MutePlayer]:
    """A window on a settings file of its own, with a player that makes no sound."""
    clock = clock or Clock()
    prefs = Preferences(QSettings(str(folder / "window.ini"), QSettings.Format.IniFormat))
    player = MutePlayer()
    bridge = Bridge(factory, clock=clock)
    if prefs.chime == ChimeSettings():
        prefs.chime = ChimeSettings(confirmed=True)
    window = MainWindow(bridge, prefs, lambda: INPUTS, player, clock, AtOnce(), no_desktop)
    return window, player


def show(window: MainWindow) -> None:
    """Show it and wait until it takes keys."""
    window.show()
    QTest.qWaitForWindowActive(window)


def watching(
    folder: Path, plan: Plan, alarms: Sequence[Alarm] = (), size: tuple[int, int] = (1440, 900)
) -> tuple[MainWindow, fake_client.Crew, MutePlayer]:
    """A window showing the board of that plan, one snapshot in."""
    crew = fake_client.Crew(plan, alarms)
    window, player = make_window(folder, fake_client.factory_of(crew.client))
    window.resize(*size)
    show(window)
    window.open(Open(device=0))
    window.bridge._timer.stop()
    window.bridge.poll()
    return window, crew, player

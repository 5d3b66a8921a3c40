"""Pages of several carts, with a site and a publisher that the test plays."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from app.models.choices import PublishChoices
from app.window.main_window import MainWindow
from tests.support.played_site import played_site
from tests.support.qt import pages

SITE = "mqtt://192.168.7.2/belfry"


def overview(folder: Path) -> MainWindow:
    """All carts, over the start page."""
    window, _ = pages.make_window(folder)
    window.overview._read = played_site(1000.0)
    window.overview._clock = lambda: 1000.5
    window.prefs.publish = PublishChoices(site=SITE)
    window.overview.show()
    return window


def publish(folder: Path) -> MainWindow:
    """Where to publish, over the start page."""
    window, _ = pages.make_window(folder)
    window.prefs.publish = PublishChoices(address=f"{SITE}/tower")
    window.publishing.show()
    return window


FLEET_PAGES: dict[str, Callable[[Path], MainWindow]] = {"overview": overview, "publish": publish}

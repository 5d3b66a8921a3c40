"""Publishing the watch by MQTT, from the settings; a process of its own does it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from PySide6.QtCore import QObject, QTimer

from app.fleet import broker_address, publishing
from app.fleet.broker_address import BrokerAddressError
from app.models.choices import PublishChoices
from app.page.launch import start_publisher
from app.services.background import Background
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.views.fleet.publish_page import PublishPage
from app.views.widgets.overlay import Layer

LOOK_MS: Final = 500
MEND_MS: Final = 5000
"""So often it is looked whether the publisher of this watch still lives."""
Start = Callable[[Path, str, str, str], None]


class PublishController(QObject):
    """`by_command`: the command line has this window's first watch published already."""

    by_command = False

    def __init__(
        self,
        bridge: Bridge,
        layer: Layer,
        prefs: Preferences,
        background: Background,
        start: Start = start_publisher,
    ) -> None:
        super().__init__(layer)
        self._bridge, self._layer, self._prefs = bridge, layer, prefs
        self._background, self._start = background, start
        self._page: PublishPage | None = None
        self._timer = QTimer(self, interval=LOOK_MS)
        self._timer.timeout.connect(self.look)
        self._mending = QTimer(self, interval=MEND_MS)
        self._mending.timeout.connect(self.mend)
        bridge.started.connect(lambda _watch: self._begin())
        bridge.ended.connect(self._mending.stop)

    def show(self) -> None:
        """Its page."""
        page = PublishPage(self._layer.below, self._prefs.publish)
        page.changed.connect(self.change)
        page.shown.connect(lambda shown: self._timer.start() if shown else self._timer.stop())
        self._page = page
        self._layer.open(page)
        self.look()

    def change(self, choices: PublishChoices) -> None:
        """Keep to these from now on, in the watch that runs, too."""
        wrong = _wrong(choices)
        on = choices.on and not wrong
        self._prefs.publish = PublishChoices(
            on, choices.address, choices.site, choices.login, choices.ca
        )
        folder = self._bridge.folder
        if folder is not None and on:
            self._publish(folder)
        elif folder is not None:
            publishing.switch_off(folder)
        if self._page is not None:
            self._page.switch(on)
            self._page.show_state(wrong, "red") if wrong and choices.on else self.look()

    def look(self) -> None:
        """Say how it stands."""
        page = self._page
        if page is None or page is not self._layer.current:
            return
        folder = self._bridge.folder
        stands = None if folder is None else publishing.status(folder)
        if stands is not None and stands.problem:
            page.show_state(f"Not at the broker: {stands.problem}.", "amber")
        elif stands is not None:
            page.show_state(f"Published: {stands.address}", "dim")
        elif folder is None:
            page.show_state("Nothing is watched now.", "dim")
        elif not self._prefs.publish.on:
            page.show_state("This watch is not published.", "dim")
        else:
            page.show_state("The publisher is gone: a new one is about to start.", "amber")

    def _begin(self) -> None:
        """A watch has begun: have it published where that is wished and nobody does it."""
        folder, by_command = self._bridge.folder, self.by_command
        self.by_command = False
        wanted = self._prefs.publish.on and not by_command
        if wanted:
            self._mending.start()
        if folder is not None and wanted and publishing.status(folder) is None:
            self._publish(folder)

    def mend(self) -> None:
        """A publisher that died is followed by another one."""
        folder = self._bridge.folder
        if folder is None or not self._prefs.publish.on:
            self._mending.stop()
        elif publishing.status(folder) is None:
            self._publish(folder)

    def _publish(self, folder: Path) -> None:
        choices = self._prefs.publish
        self._mending.start()
        self._background.ask(
            lambda: self._start(folder, choices.address, choices.login, choices.ca),
            lambda _none: self.look(),
        )


def _wrong(choices: PublishChoices) -> str:
    """Why it can't be published so; empty where it can."""
    try:
        broker_address.parse(choices.address, cart=True)
    except BrokerAddressError as error:
        return str(error)
    missing = [path for path in (choices.login, choices.ca) if path and not Path(path).is_file()]
    return f"{missing[0]}: no such file" if missing else ""

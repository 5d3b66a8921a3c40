"""The start page at work: finds live inputs, opens what was chosen, asks for a drill."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from app.alerts.alerts import Alerts
from app.models.live_input import Input
from app.services.bridge import Bridge
from app.services.input_listener import InputLights
from app.services.preferences import Preferences
from app.style import wording
from app.views.start_page import StartPage
from app.views.start_parts import is_plan
from engine.model.commands import Open
from engine.sources.base import SourceError

FindInputs = Callable[[], Sequence[Input]]


class StartController(QObject):
    """`opening` carries each request just before it is opened.

    `inputs` finds the live inputs; it is called on the audio thread.
    """

    opening = Signal(object)

    def __init__(
        self, start_page: StartPage, bridge: Bridge, prefs: Preferences, alerts: Alerts
    ) -> None:
        super().__init__(start_page)
        self._page, self._bridge, self._prefs, self._alerts = start_page, bridge, prefs, alerts
        self.inputs: FindInputs = tuple
        self.lights = InputLights(self)
        self.lights.changed.connect(start_page.inputs.set_lights)
        start_page.chosen.connect(self._take)
        start_page.inputs_wanted.connect(self.find_inputs)
        bridge.opening.connect(start_page.show_progress)
        start_page.input_chosen.connect(self._offer_plan)
        start_page.set_recent(prefs.recent)

    def find_inputs(self) -> None:
        """Look for live inputs without holding up the window."""
        self._page.set_inputs(None)
        self.lights.stop()  # an input that is open may be missing in the list
        self._alerts.ask_audio(self._look_for_inputs, self._show_inputs)

    def _show_inputs(self, inputs: Sequence[Input] | str) -> None:
        self._page.set_inputs(inputs)
        if not isinstance(inputs, str) and self._page.isVisible():
            self.lights.start(inputs)

    def _look_for_inputs(self) -> Sequence[Input] | str:
        try:
            return self.inputs()
        except SourceError as error:
            return wording.sentence(str(error))

    def _take(self, request: Open) -> None:
        """What was chosen on the page; a second key in a hurry does not open something else."""
        if not self._bridge.is_opening:
            self.open(request)

    def open(self, request: Open) -> None:
        """Start watching."""
        self.lights.stop()
        for path in (request.plan, request.take):
            if path:
                self._prefs.remember(path)
        if request.device is not None:
            self._prefs.remember_plan(str(request.device), request.plan or "")
        self._page.set_recent(self._prefs.recent)
        self._page.show_progress("")
        self.opening.emit(request)
        self._bridge.open(request)

    def _offer_plan(self, device: str) -> None:
        """The plan that was used last with that input, if it is still there."""
        plan = self._prefs.plan_of(device)
        if plan and Path(plan).is_file():
            self._page.set_plan(plan)

    def recent_takes(self) -> list[str]:
        """Paths of takes opened lately, newest first."""
        return [path for path in self._prefs.recent if not is_plan(path)]

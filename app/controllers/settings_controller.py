"""Settings: their page, what becomes of a change, and the page of keys and cautions."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QObject, Signal

from app.alerts.alerts import Alerts
from app.alerts.chime import ChimeSettings
from app.models.choices import Choices
from app.models.key_bindings import Act
from app.services.preferences import Preferences
from app.style import theme
from app.style.theme import Look
from app.views.settings_page import Alerting, SettingsPage
from app.views.widgets.overlay import Help, Layer


class SettingsController(QObject):
    """Keeps each change and says it: `chime_changed`, `choices_changed` (`Choices`) and
    `look_changed` (`Look`); `publish_asked` wants the page of the broker."""

    chime_changed = Signal()
    choices_changed = Signal(object)
    look_changed = Signal(object)
    publish_asked = Signal()

    def __init__(self, layer: Layer, prefs: Preferences, alerts: Alerts) -> None:
        super().__init__(layer)
        self._layer, self._prefs, self._alerts = layer, prefs, alerts

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the keys of both pages do."""
        return {
            Act.HELP: self.show_help,
            Act.SETTINGS: self.show_settings,
            Act.CHIME: self.show_settings,
            Act.LOOK: self.toggle_look,
        }

    def show_help(self) -> None:
        """Keys and cautions."""
        self._layer.open(Help(self._layer.below))

    def show_settings(self) -> None:
        """All settings; the outputs come later, when the machine has named them."""
        prefs, desktop = self._prefs, self._alerts.desktop
        page = SettingsPage(
            self._layer.below,
            prefs.look,
            self._alerts.settings,
            prefs.choices,
            Alerting(desktop.on, desktop.problem, desktop.route),
        )
        page.chime_changed.connect(self.set_chime)
        page.changed.connect(self.set_choices)
        page.look_changed.connect(lambda name: self.set_look(theme.look_of(name)))
        page.test.connect(self._alerts.test)
        page.alerts_changed.connect(self.set_alerts)
        page.publish_asked.connect(self.publish_asked)
        page.reset_asked.connect(self.reset)
        page.reset_asked.connect(self.show_settings)
        self._layer.open(page)
        self._alerts.find_outputs(self._offer_outputs)

    def set_chime(self, settings: ChimeSettings) -> None:
        """Sound, or not, like this."""
        self._alerts.settings = self._prefs.chime = settings
        self.chime_changed.emit()

    def set_alerts(self, on: bool) -> None:
        """Alert the desktop, or not."""
        self._prefs.desktop_alerts = self._alerts.desktop.on = on
        self.chime_changed.emit()

    def set_choices(self, choices: Choices) -> None:
        """Keep to these from now on."""
        self._prefs.choices = choices
        self.choices_changed.emit(choices)

    def set_look(self, look: Look) -> None:
        """This look, from now on."""
        self._prefs.look = look.name
        self.look_changed.emit(look)

    def toggle_look(self) -> None:
        """Night or day."""
        self.set_look(theme.NIGHT if self._prefs.look == theme.DAY.name else theme.DAY)

    def reset(self) -> None:
        """All settings as at first start."""
        self._prefs.reset()
        self.set_look(theme.look_of(self._prefs.look))
        self.set_chime(self._prefs.chime)
        self.set_choices(self._prefs.choices)
        self.set_alerts(self._prefs.desktop_alerts)

    def _offer_outputs(self, names: Sequence[str]) -> None:
        page = self._layer.current
        if isinstance(page, SettingsPage):
            page.set_outputs(names)

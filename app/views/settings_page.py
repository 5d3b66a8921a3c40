"""Settings: look, chime, glance view, times. Each counts at once; one button makes all as new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QGridLayout,
    QHBoxLayout,
    QSlider,
    QWidget,
)

from app.alerts.chime import ChimeSettings, Sound
from app.models.choices import BOUNDS, Choices
from app.style import wording
from app.style.theme import LOOKS, Look
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay
from engine.model.number_text import number

DEFAULT_OUTPUT = "System default"
TESTS = {
    Sound.UNCOVERED: "No backup",
    Sound.RED: "Red",
    Sound.AMBER: "Amber",
    Sound.BACK: "Back to normal",
}
NUMBERS = (
    ("text_percent", "Text size", " %", 10.0),
    ("glance_m", "Glance view is read from", " m", 0.5),
    ("screen_inch", "Diagonal of its screen", " inch", 1.0),
    ("shelve_min", "Shelve for a short time", " min", 1.0),
    ("shelve_long_min", "Shelve for a long time", " min", 5.0),
    ("break_min", "Break reminder after", " min", 5.0),
    ("round_s", "A round plays each track for", " s", 1.0),
)
CAUTIONS = (
    "Open mics near a loudspeaker record the chime: choose headphones. Start low: a level that "
    "is pleasant in a quiet room can hurt in headphones."
)


CONFIRMED = "Confirmed by ear on this output."
UNCONFIRMED = (
    "Silent until you have heard it once on this output: headphones on low, play one, then confirm."
)


@dataclass(frozen=True, slots=True)
class Alerting:
    """Desktop alerts: wanted, why they don't work, and by which way they do."""

    on: bool = True
    problem: str = ""
    route: str = ""


class SettingsPage(Overlay):
    """`chime_changed` carries `ChimeSettings`, `changed` `Choices`, `look_changed` a name,
    `test` a `Sound`, `alerts_changed` whether the desktop is alerted; `publish_asked` wants the
    page of the broker."""

    SCROLLS: ClassVar = True

    chime_changed = Signal(object)
    changed = Signal(object)
    look_changed = Signal(str)
    test = Signal(object)
    alerts_changed = Signal(bool)
    reset_asked = Signal()
    publish_asked = Signal()

    def __init__(
        self,
        parent: QWidget,
        look: str,
        chime: ChimeSettings,
        choices: Choices,
        alerting: Alerting = Alerting(),
    ) -> None:
        super().__init__(parent)
        self.chime, self.choices = chime, choices
        self.setAccessibleName("Settings")
        self.lines = QGridLayout()
        self.lines.setVerticalSpacing(8)
        self.lines.setHorizontalSpacing(24)
        self.lines.setColumnStretch(1, 1)
        self.column.addWidget(plain("Settings", "title"))
        self.look = QComboBox()
        self.look.addItems([name.capitalize() for name in LOOKS])
        self.look.setCurrentText(look.capitalize())
        self._line("Look", self.look)
        self._build_chime()
        self._build_alerts(alerting)
        self.numbers = {
            name: self._number(name, words, unit, step) for name, words, unit, step in NUMBERS
        }
        self.round_red = QCheckBox("It goes to a track that turns red")
        self.round_red.setChecked(self.choices.round_red > 0.0)
        self._line("Round", self.round_red)
        self.publish = Button("Publish to a broker…")
        self._line("Several carts", self.publish)
        self.reset, self.done = (
            Button("Reset to defaults"),
            Button("Done", "Esc", main=True).as_primary(),
        )
        self._line("", self.reset, self.done)
        self.column.addLayout(self.lines)
        self.column.addWidget(plain(CAUTIONS, "small", wrap=True))
        self.panel.setMinimumWidth(620)
        self._connect()

    def set_look(self, look: Look) -> None:
        """Its key was pressed over this page: the list follows, and asks for nothing."""
        self.look.blockSignals(True)
        self.look.setCurrentText(look.name.capitalize())
        self.look.blockSignals(False)

    def _build_chime(self) -> None:
        chime = self.chime
        self.on = QCheckBox("Chimes on (off: alarms are shown only, and a mark says so)")
        self.on.setChecked(chime.on)
        self._line("Chime", self.on)
        self.output = QComboBox()
        self.output.addItem(DEFAULT_OUTPUT)
        if chime.output:
            self.output.addItem(chime.output)
            self.output.setCurrentIndex(1)
        self._line("Chime output", self.output)
        self.level = QSlider(Qt.Orientation.Horizontal)
        self.level.setRange(-60, 0)
        self.level.setValue(round(chime.level_db))
        self.level_words = plain()
        self._show_level()
        self._line("Chime level, dBFS", self.level, self.level_words)
        self.tests = {sound: Button(words) for sound, words in TESTS.items()}
        self._line("Play", *self.tests.values())
        self.heard = Button("I heard it in my headphones", "H")
        self.heard.setEnabled(False)
        self.confirmed = plain("", wrap=True)
        self._line("Confirm", self.heard)
        self.lines.addWidget(self.confirmed, self.lines.rowCount(), 1)
        self._show_confirmed()

    def _build_alerts(self, alerting: Alerting) -> None:
        self.alerts = QCheckBox("Alarms are shown on the desktop as well")
        self.alerts.setChecked(alerting.on)
        self._line("Desktop alerts", self.alerts)
        words = f"They work: {alerting.route}." if alerting.route else alerting.problem
        label = plain(wording.sentence(words), "amber" if alerting.problem else "small", wrap=True)
        self.lines.addWidget(label, self.lines.rowCount(), 1)
        label.setVisible(bool(words))

    def _number(self, name: str, words: str, unit: str, step: float) -> QDoubleSpinBox:
        box = QDoubleSpinBox()
        box.lineEdit().setTextMargins(6, 0, 6, 0)
        box.setDecimals(1 if step < 1 else 0)
        box.setSingleStep(step)
        box.setRange(*BOUNDS[name])
        box.setSuffix(unit)
        if BOUNDS[name][0] == 0.0:
            box.setSpecialValueText("automatic")
        box.setValue(getattr(self.choices, name))
        box.valueChanged.connect(lambda value: self._choose(name, value))
        self._line(words, box)
        return box

    def _line(self, words: str, *parts: QWidget) -> None:
        row = QHBoxLayout()
        row.setSpacing(8)
        at = self.lines.rowCount()
        self.lines.addWidget(plain(words), at, 0)
        for part in parts:
            if words and not part.accessibleName() and not isinstance(part, QCheckBox):
                part.setAccessibleName(words)
            row.addWidget(part, int(isinstance(part, (QComboBox, QSlider, QDoubleSpinBox))))
        self.lines.addLayout(row, at, 1)

    def _connect(self) -> None:
        self.look.currentTextChanged.connect(lambda name: self.look_changed.emit(name.lower()))
        self.on.toggled.connect(self._change)
        self.output.currentTextChanged.connect(self._change)
        self.level.valueChanged.connect(self._change)
        for sound, button in self.tests.items():
            button.clicked.connect(lambda _checked=False, s=sound: self._play(s))
        self.heard.clicked.connect(self._confirm)
        self.alerts.toggled.connect(self.alerts_changed)
        confirm = QShortcut(QKeySequence("H"), self)
        confirm.activated.connect(self.heard.click)
        self.round_red.toggled.connect(lambda on: self._choose("round_red", float(on)))
        self.publish.clicked.connect(self.publish_asked)
        self.reset.clicked.connect(self.reset_asked)
        self.done.clicked.connect(self.hide)

    def open(self) -> None:
        """Show it, beginning with the chime."""
        super().open()
        self.on.setFocus()

    def set_outputs(self, names: Sequence[str]) -> None:
        """Offer these outputs, keeping the one chosen."""
        self.output.blockSignals(True)
        for name in names:
            if self.output.findText(name, Qt.MatchFlag.MatchExactly) < 0:
                self.output.addItem(name)
        self.output.blockSignals(False)

    def _show_level(self) -> None:
        self.level_words.setText(number(self.level.value(), "dBFS", digits=0))

    def _change(self) -> None:
        self._show_level()
        output = self.output.currentText() if self.output.currentIndex() > 0 else ""
        level_db = float(self.level.value())
        confirmed = self.chime.confirmed and output == self.chime.output
        if output != self.chime.output:
            self.heard.setEnabled(False)
        self.chime = ChimeSettings(self.on.isChecked(), output, level_db, confirmed)
        self._show_confirmed()
        self.chime_changed.emit(self.chime)

    def _play(self, sound: Sound) -> None:
        self.test.emit(sound)
        self.heard.setEnabled(True)

    def _confirm(self) -> None:
        """Somebody heard it on this output: from now on it sounds."""
        self.chime = replace(self.chime, confirmed=True)
        self._show_confirmed()
        self.chime_changed.emit(self.chime)

    def _show_confirmed(self) -> None:
        if self.chime.confirmed:
            say(self.confirmed, CONFIRMED, "small")
        else:
            say(self.confirmed, UNCONFIRMED, "amber")

    def _choose(self, name: str, value: float) -> None:
        self.choices = replace(self.choices, **{name: value})
        self.changed.emit(self.choices)

"""Settings: look, chime, glance view, times. Each counts at once; one button makes all as new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from PySide6.QtCore import Qt, Signal
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
from app.style.theme import LOOKS
from app.views.widgets.basics import Button, plain
from app.views.widgets.overlay import Overlay
from engine.model.number_text import number

DEFAULT_OUTPUT = "System default"
TESTS = {
    Sound.UNCOVERED: "Uncovered",
    Sound.RED: "Red",
    Sound.AMBER: "Amber",
    Sound.BACK: "Back to normal",
}
NUMBERS = (
    ("glance_m", "Glance view is read from", " m", 0.5),
    ("screen_inch", "Diagonal of its screen", " inch", 1.0),
    ("shelve_min", "Shelve for a short time", " min", 1.0),
    ("shelve_long_min", "Shelve for a long time", " min", 5.0),
    ("break_min", "Remind of a break after", " min", 5.0),
)
CAUTIONS = (
    "Open mics near a loudspeaker record the chime: choose headphones. Start low: a level that "
    "is pleasant in a quiet room can hurt in headphones."
)


class SettingsPage(Overlay):
    """`chime_changed` carries `ChimeSettings`, `changed` `Choices`, `look_changed` a name,
    `test` a `Sound`."""

    chime_changed = Signal(object)
    changed = Signal(object)
    look_changed = Signal(str)
    test = Signal(object)
    reset_asked = Signal()

    def __init__(self, parent: QWidget, look: str, chime: ChimeSettings, choices: Choices) -> None:
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
        self.numbers = {
            name: self._number(name, words, unit, step) for name, words, unit, step in NUMBERS
        }
        self.reset, self.done = Button("As new"), Button("Done", "Esc", main=True)
        self._line("", self.reset, self.done)
        self.column.addLayout(self.lines)
        self.column.addWidget(plain(CAUTIONS, "small", wrap=True))
        self.panel.setMinimumWidth(620)
        self._connect()

    def _build_chime(self) -> None:
        chime = self.chime
        self.on = QCheckBox("Chimes on (off: alarms are only seen, and a mark says so)")
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
        self._line("Hear", *self.tests.values())

    def _number(self, name: str, words: str, unit: str, step: float) -> QDoubleSpinBox:
        box = QDoubleSpinBox()
        box.setDecimals(1 if step < 1 else 0)
        box.setSingleStep(step)
        box.setRange(*BOUNDS[name])
        box.setSuffix(unit)
        if BOUNDS[name][0] == 0.0:
            box.setSpecialValueText("as the screen says")
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
            button.clicked.connect(lambda _checked=False, s=sound: self.test.emit(s))
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
        self.chime = ChimeSettings(self.on.isChecked(), output, level_db)
        self.chime_changed.emit(self.chime)

    def _choose(self, name: str, value: float) -> None:
        self.choices = replace(self.choices, **{name: value})
        self.changed.emit(self.choices)

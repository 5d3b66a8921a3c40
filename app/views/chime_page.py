"""Settings of the chime: on or off, output, level, a test of each sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QSlider, QWidget

from app.chime import ChimeSettings
from app.views.overlay import Overlay
from app.views.parts import Button, plain
from engine.model import Severity

DEFAULT_OUTPUT = "System default"


class ChimePage(Overlay):
    """`changed` carries new `ChimeSettings`, `test` a `Severity` to sound."""

    changed = Signal(object)
    test = Signal(object)

    def __init__(self, parent: QWidget, settings: ChimeSettings) -> None:
        super().__init__(parent)
        self.settings = settings
        self.setAccessibleName("Chime settings")
        self.column.addWidget(plain("Chime", "title"))
        self.on = QCheckBox("Sound a chime for unseen alarms")
        self.on.setChecked(settings.on)
        self.column.addWidget(self.on)
        self.output = QComboBox()
        self.output.setAccessibleName("Output")
        self.output.addItem(DEFAULT_OUTPUT)
        if settings.output:
            self.output.addItem(settings.output)
            self.output.setCurrentIndex(1)
        self._line("Output", self.output)
        self.level = QSlider(Qt.Orientation.Horizontal)
        self.level.setRange(-60, 0)
        self.level.setValue(round(settings.level_db))
        self.level.setAccessibleName("Level, dBFS")
        self.level_words = plain()
        self._line("Level", self.level, self.level_words)
        self.amber, self.red = Button("Test amber"), Button("Test red")
        self.done = Button("Done", "Esc")
        self._line("", self.amber, self.red, self.done)
        for words in (
            "Open mics near a loudspeaker record the chime: choose headphones.",
            "Start low: a level that is pleasant in a quiet room can hurt in headphones.",
        ):
            self.column.addWidget(plain(words, "small"))
        self._show_level()
        self.on.toggled.connect(self._change)
        self.output.currentTextChanged.connect(self._change)
        self.level.valueChanged.connect(self._change)
        self.amber.clicked.connect(lambda: self.test.emit(Severity.AMBER))
        self.red.clicked.connect(lambda: self.test.emit(Severity.RED))
        self.done.clicked.connect(self.hide)

    def _line(self, words: str, *parts: QWidget) -> None:
        row = QHBoxLayout()
        label = plain(words)
        label.setMinimumWidth(70)
        row.addWidget(label)
        for part in parts:
            row.addWidget(part, int(isinstance(part, (QComboBox, QSlider))))
        self.column.addLayout(row)

    def set_outputs(self, names: Sequence[str]) -> None:
        """Offer these outputs, keeping the one chosen."""
        self.output.blockSignals(True)
        for name in names:
            if self.output.findText(name, Qt.MatchFlag.MatchExactly) < 0:
                self.output.addItem(name)
        self.output.blockSignals(False)

    def _show_level(self) -> None:
        self.level_words.setText(f"{self.level.value()} dBFS".replace("-", "−"))

    def _change(self) -> None:
        self._show_level()
        output = self.output.currentText() if self.output.currentIndex() > 0 else ""
        self.settings = replace(
            self.settings,
            on=self.on.isChecked(),
            output=output,
            level_db=float(self.level.value()),
        )
        self.changed.emit(self.settings)

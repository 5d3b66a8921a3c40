"""Publish this cart to the crew's broker: switch, address, files of the login, how it stands."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QSize, Signal
from PySide6.QtWidgets import QCheckBox, QFileDialog, QGridLayout, QHBoxLayout, QLineEdit, QWidget

from app.models.choices import PublishChoices
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

WHAT: Final = (
    "Whoever may read at the broker sees names, packs, levels and alarms of each watch, and hears "
    "nothing. The watch never waits for the broker."
)
SHAPE: Final = "mqtt://192.168.7.2/belfry/main"
LOGIN_SHAPE: Final = "none, or from the environment"
CA_SHAPE: Final = "the system's authorities"
_WIDE: Final = 560
_LETTERS: Final = 42


class _Field(QLineEdit):
    """A field in which an ordinary address is to be seen whole, at any size of its letters."""

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Room for some forty letters."""
        hint = super().minimumSizeHint()
        return QSize(self.fontMetrics().averageCharWidth() * _LETTERS, hint.height())


class PublishPage(Overlay):
    """`changed` carries `PublishChoices` whenever the switch or, once typed in, a field changes."""

    changed = Signal(object)

    def __init__(self, parent: QWidget, choices: PublishChoices) -> None:
        super().__init__(parent)
        self.setAccessibleName("Publish to a broker")
        self._choices = choices
        self.on = QCheckBox("Publish each watch from its start")
        self.on.setChecked(choices.on)
        self.address = self._field(choices.address, SHAPE, "Broker, site and cart")
        self.login = self._field(choices.login, LOGIN_SHAPE, "File of name and password")
        self.ca = self._field(choices.ca, CA_SHAPE, "File of the broker's authority")
        self.state = plain("", "dim", wrap=True)
        self.done = Button("Done", "Esc", main=True).as_primary()
        self._build()
        self.on.toggled.connect(self._change)
        for field in (self.address, self.login, self.ca):
            field.editingFinished.connect(self._change)
        self.done.clicked.connect(self.hide)

    @staticmethod
    def _field(text: str, shape: str, name: str) -> QLineEdit:
        field = _Field(text)
        field.setPlaceholderText(shape)
        field.setAccessibleName(name)
        return field

    def _build(self) -> None:
        self.column.addWidget(plain("Publish to a broker", "title"))
        words = plain(WHAT, wrap=True)
        words.setMinimumWidth(_WIDE)
        self.column.addWidget(words)
        self.column.addWidget(self.on)
        grid = QGridLayout()
        grid.setHorizontalSpacing(16)
        rows = (
            ("mqtt, or mqtts with TLS", self.address, None),
            ("Name and password: a file of two lines", self.login, "Choose the file"),
            ("TLS: the broker's authority, PEM", self.ca, "Choose the certificate"),
        )
        for n, (label, field, choose) in enumerate(rows):
            grid.addWidget(plain(label), n, 0)
            row = QHBoxLayout()
            row.setSpacing(6)
            row.addWidget(field, 1)
            if choose is not None:
                button = Button("Choose")
                button.setAccessibleName(choose)
                button.clicked.connect(lambda _checked=False, f=field, t=choose: self._pick(f, t))
                row.addWidget(button)
            grid.addLayout(row, n, 1)
        grid.setColumnStretch(1, 1)
        self.column.addLayout(grid)
        self.column.addWidget(self.state)
        self.column.addWidget(self.done)

    def open(self) -> None:
        """Show it, beginning with the switch."""
        super().open()
        self.on.setFocus()

    def show_state(self, words: str, tone: str) -> None:
        """How the publishing stands, one line."""
        say(self.state, words, tone)

    def switch(self, on: bool) -> None:
        """As it is, without saying so."""
        self.on.blockSignals(True)
        self.on.setChecked(on)
        self.on.blockSignals(False)

    def _pick(self, field: QLineEdit, title: str) -> None:
        path, _ = QFileDialog.getOpenFileName(self, title, field.text())
        if path:
            field.setText(path)
            self._change()

    def _change(self) -> None:
        texts = [field.text().strip() for field in (self.address, self.login, self.ca)]
        made = PublishChoices(self.on.isChecked(), texts[0], self._choices.site, *texts[1:])
        if made != self._choices:
            self._choices = made
            self.changed.emit(made)

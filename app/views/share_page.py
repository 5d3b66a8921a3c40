"""Share the glance view: address and QR code, who is connected, new code, off."""

from __future__ import annotations

from typing import Any, Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QImage, QPainter, QPaintEvent
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QWidget

from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

WHAT: Final = (
    "Phones on the same network can open the glance view: which pack, whose, where it sits, what "
    "to check. They hear nothing and change nothing of the watch."
)
QUIET_MODULES: Final = 4
"""White around a QR code: ISO/IEC 18004."""


class QrCode(QWidget):
    """A QR code, black on white by day and by night, as readers want it."""

    def __init__(self) -> None:
        super().__init__()
        self._image = QImage()
        self.setFixedSize(260, 260)
        self.setAccessibleName("QR code of the address")

    def show_text(self, text: str) -> None:
        """Show that text; medium error correction."""
        import segno  # its library would slow down every start

        rows = tuple(segno.make_qr(text, error="m").matrix_iter(border=QUIET_MODULES))
        image = QImage(len(rows), len(rows), QImage.Format.Format_RGB32)
        for y, row in enumerate(rows):
            for x, dark in enumerate(row):
                image.setPixelColor(x, y, QColor("black" if dark else "white"))
        self._image = image
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Whole pixels a module, without smoothing."""
        if self._image.isNull():
            return
        painter = QPainter(self)
        side = self._image.width() * max(1, self.width() // self._image.width())
        corner = (self.width() - side) // 2
        painter.fillRect(self.rect(), QColor("white"))
        painter.drawImage(corner, corner, self._image.scaled(side, side))
        painter.end()


class SharePage(Overlay):
    """Off: a button to share. On: all that is known of the page, and what can be done with it."""

    start_asked = Signal(bool)
    new_code_asked = Signal()
    off_asked = Signal()
    may_see_changed = Signal(bool)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.column.addWidget(plain("Share the glance view with phones", "title"))
        self.words = plain(WHAT, wrap=True)
        self.words.setMinimumWidth(520)
        self.column.addWidget(self.words)
        self.code = QrCode()
        self.column.addWidget(self.code, 0, Qt.AlignmentFlag.AlignHCenter)
        self.address = plain(wrap=True)
        self.address.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.column.addWidget(self.address)
        self.fingerprint = plain(wrap=True)
        self.column.addWidget(self.fingerprint)
        self.phones = plain(wrap=True)
        self.column.addWidget(self.phones)
        self.may_see = QCheckBox("Phones may say Seen for the crew")
        self.may_see.toggled.connect(self.may_see_changed)
        self.column.addWidget(self.may_see)
        self.tls = QCheckBox("Encrypt it (phones warn once: compare the fingerprint)")
        self.column.addWidget(self.tls)
        self.column.addLayout(self._buttons())
        self.show_off()

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        self.start = Button("Share", main=True)
        self.start.clicked.connect(lambda: self.start_asked.emit(self.tls.isChecked()))
        self.renew = Button("New code: all phones out")
        self.renew.clicked.connect(self.new_code_asked)
        self.off = Button("Switch off")
        self.off.clicked.connect(self.off_asked)
        for button in (self.start, self.renew, self.off):
            row.addWidget(button)
        return row

    def show_off(self, problem: str = "") -> None:
        """Nothing is shared; `problem` says why not, where it should be."""
        say(self.words, problem or WHAT)
        self._set(False)
        self.start.setEnabled(True)

    def show_starting(self) -> None:
        """Asked for."""
        say(self.words, "Starting …")
        self.start.setEnabled(False)

    def show_status(self, status: dict[str, Any]) -> None:
        """The page as it says it stands."""
        address = str(status.get("address", ""))
        if address != self.address.text():
            self.code.show_text(address)
        say(self.words, WHAT)
        say(self.address, address)
        mark = str(status.get("fingerprint", ""))
        say(self.fingerprint, f"Certificate SHA-256 {mark}" if mark else "Not encrypted.")
        named = [f"{p.get('name') or 'no name yet'} ({p.get('address')})" for p in _phones(status)]
        say(self.phones, f"Connected: {', '.join(named) or 'nobody'}.")
        self.may_see.blockSignals(True)
        self.may_see.setChecked(status.get("may_see") is True)
        self.may_see.blockSignals(False)
        self._set(True)

    def _set(self, on: bool) -> None:
        for widget in (self.code, self.address, self.fingerprint, self.phones, self.may_see):
            widget.setVisible(on)
        for button in (self.renew, self.off):
            button.setVisible(on)
        self.tls.setVisible(not on)
        self.start.setVisible(not on)


def _phones(status: dict[str, Any]) -> list[dict[str, Any]]:
    phones = status.get("phones")
    return [p for p in phones if isinstance(p, dict)] if isinstance(phones, list) else []

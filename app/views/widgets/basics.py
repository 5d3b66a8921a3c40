"""Small parts of several views. All text is plain: names from files are never markup."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QSize, Qt
from PySide6.QtGui import QEnterEvent, QKeyEvent, QPainter, QPaintEvent, QTextLayout
from PySide6.QtWidgets import QFrame, QLabel, QPushButton, QScrollArea, QWidget


def plain(words: str = "", tone: str = "", wrap: bool = False) -> QLabel:
    """A label that shows its text as it is; `tone` picks its look in the style sheet."""
    label = QLabel()
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setText(words)
    label.setWordWrap(wrap)
    if tone:
        label.setProperty("tone", tone)
    return label


class ScrollArea(QScrollArea):
    """Asks for as much room as what it holds, and never for less than its width: Qt's own asks
    for some lines only, and cuts off at the side what does not fit."""

    def sizeHint(self) -> QSize:  # noqa: N802
        """What it holds, whole."""
        inside = self.widget()
        return super().sizeHint() if inside is None else inside.sizeHint()

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """As wide as what it holds must be, and its bar."""
        least, inside = super().minimumSizeHint(), self.widget()
        if inside is None:
            return least
        bar = self.verticalScrollBar().sizeHint().width()
        return QSize(max(least.width(), inside.minimumSizeHint().width() + bar), least.height())

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """What it holds asks for another size: so does this."""
        if event.type() is QEvent.Type.LayoutRequest:
            self.updateGeometry()
        return super().eventFilter(watched, event)


def scrolling(inside: QWidget) -> QScrollArea:
    """That widget with a scroll bar where there is less room than it needs; nothing behind it."""
    area = ScrollArea()
    area.setObjectName("clear")
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    inside.setObjectName("clear")
    area.setWidget(inside)
    return area


class Elided(QLabel):
    """A label that may be squeezed: its text then ends in an ellipsis."""

    def __init__(self, tone: str = "") -> None:
        super().__init__()
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setProperty("tone", tone)
        self.setMinimumWidth(20)

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Draw as much of the text as there is room for."""
        painter = QPainter(self)
        words = self.fontMetrics().elidedText(
            self.text(), Qt.TextElideMode.ElideRight, self.width()
        )
        painter.setPen(self.palette().color(self.foregroundRole()))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignVCenter, words)
        painter.end()


class ElidedLines(Elided):
    """The same in as many lines as its height holds; the last one ends in an ellipsis."""

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Break the text at words, and cut what has no room."""
        painter, metrics = QPainter(self), self.fontMetrics()
        painter.setPen(self.palette().color(self.foregroundRole()))
        lines = max(1, self.height() // metrics.lineSpacing())
        layout = QTextLayout(self.text(), self.font())
        layout.beginLayout()
        for n in range(lines):
            line = layout.createLine()
            if not line.isValid():
                break
            line.setLineWidth(self.width())
            begin = line.textStart()
            words = self.text()[begin : begin + line.textLength()]
            if n == lines - 1:
                rest = self.text()[begin:]
                words = metrics.elidedText(rest, Qt.TextElideMode.ElideRight, self.width())
            painter.drawText(0, n * metrics.lineSpacing() + metrics.ascent(), words)
        layout.endLayout()
        painter.end()


def say(label: QLabel, words: str, tone: str | None = None) -> bool:
    """Change a label's words and tone, only where they differ; returns whether they did."""
    changed = label.text() != words
    if changed:
        label.setText(words)
    if tone is not None and label.property("tone") != tone:
        label.setProperty("tone", tone)
        restyle(label)
        changed = True
    return changed


def restyle(widget: QWidget) -> None:
    """Read the style sheet again after a property changed."""
    widget.style().unpolish(widget)
    widget.style().polish(widget)


class Button(QPushButton):
    """A button with its key beside its words; Enter presses it when it has the focus."""

    def __init__(self, words: str, key: str = "", main: bool = False) -> None:
        super().__init__()
        self.setProperty("main", "true" if main else "false")
        self.setAutoDefault(False)
        self.put(words, key)

    def as_primary(self) -> Button:
        """The one act that a page is about; returns the button itself."""
        self.setProperty("primary", "true")
        return self

    def put(self, words: str, key: str = "") -> None:
        """Change words and key; an ampersand is a sign like any other."""
        shown = f"{words}   {key}" if key else words
        self.setText(shown.replace("&", "&&"))
        self.setAccessibleName(words)
        self.setToolTip("")

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Enter as well as Space."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        else:
            super().keyPressEvent(event)


class StateButton(Button):
    """Shows a state; under the mouse, or with the focus, what pressing it does."""

    def __init__(self, state: str, act: str, key: str) -> None:
        super().__init__(state, key)
        self._key = key
        self.put_state(state, act)

    def put_state(self, state: str, act: str) -> None:
        """Change both; as wide as the longer one, so that nothing moves under the mouse."""
        self._state, self._act = state, act
        self._show(self.underMouse())
        self.setAccessibleName(f"{state}: {act}")

    def _show(self, act: bool) -> None:
        self.put(self._act if act else self._state, self._key)
        self.setAccessibleName(f"{self._state}: {self._act}")

    def sizeHint(self) -> QSize:  # noqa: N802
        """Room for either."""
        hint, metrics = super().sizeHint(), self.fontMetrics()
        words = [metrics.horizontalAdvance(w) for w in (self._state, self._act)]
        shown = metrics.horizontalAdvance(self.text().removesuffix(f"   {self._key}"))
        return QSize(hint.width() + max(words) - shown, hint.height())

    def enterEvent(self, event: QEnterEvent) -> None:  # noqa: N802
        """Name the act."""
        self._show(act=True)
        super().enterEvent(event)

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802
        """Show the state again."""
        self._show(act=False)
        super().leaveEvent(event)

"""The glance view: only what is wrong, readable from across the room."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPoint, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.models.glance_lines import Scene
from app.style import viewing_distance
from app.style.theme import Look
from app.views.board import row_text
from app.views.glance.glance_layout import Fitted, Letters, Panel, fit, wrap
from engine.model.messages import Severity

EDGE = 0.022
"""Of the smaller side, left free all around."""


class Glance(QWidget):
    """Paints a scene as large as it fits; shows nothing else and takes no keys of its own."""

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("glance")
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.look = look
        self.scene = Scene()
        self.distance_m, self.diagonal_inch = 3.0, 0.0
        self._describe()

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.look = look
        self.update()

    def set_reader(self, distance_m: float, diagonal_inch: float) -> None:
        """How far off the reader is; the screen's diagonal, 0 to believe what it reports."""
        self.distance_m, self.diagonal_inch = distance_m, diagonal_inch
        self.update()

    def put(self, scene: Scene) -> None:
        """Show this."""
        if scene != self.scene:
            self.scene = scene
            self.update()
            self._describe()

    def _describe(self) -> None:
        scene = self.scene
        lines = [
            ", ".join(filter(None, (e.numbers, e.name, e.fault.lower(), e.time, e.where, e.check)))
            for e in scene.entries
        ]
        words = "; ".join([*scene.marks, *lines]) or self._calm()
        self.setAccessibleName("Glance: what is wrong now")
        if words != self.accessibleDescription():
            self.setAccessibleDescription(words)

    def _calm(self) -> str:
        good, all_of_them = self.scene.live
        return f"{good} of {all_of_them} tracks live"

    def px_per_mm(self) -> float:
        """Pixels a millimetre of the screen it is on."""
        screen = self.screen()
        size, physical = screen.geometry().size(), screen.physicalSize()
        return viewing_distance.px_per_mm(size.toTuple(), physical.toTuple(), self.diagonal_inch)

    def layout_now(self) -> Fitted:
        """The panels of the present scene at the present size."""
        edge = self._edge()
        top = self._marks_height()
        least = self._least()
        foot = QFontMetrics(least.small).height() + edge // 2
        room = QPoint(self.width() - 2 * edge, self.height() - 2 * edge - top - foot)
        return fit(self.scene.entries, room, self.px_per_mm(), self.distance_m, edge // 2)

    def _edge(self) -> int:
        return round(min(self.width(), self.height()) * EDGE)

    def _least(self) -> Letters:
        """Letters of the least angle, or what a small window has room for."""
        px = (
            viewing_distance.capital_mm(self.distance_m, viewing_distance.LEAST_ARCMIN)
            * self.px_per_mm()
        )
        bounded = min(px, self.height() / 12, self.width() / 30)
        return Letters.of(bounded, bounded)

    def _marks_height(self) -> int:
        lines = self.mark_lines()
        high = QFontMetrics(self._least().bold).height()
        return high * sum(map(len, lines)) + self._edge() // 2 * len(lines)

    def mark_lines(self) -> list[list[str]]:
        """The lines of each mark: nobody may miss the end of one."""
        room = self.width() - 3 * self._edge()
        return [wrap(self._least().bold, words, room) for words in self.scene.marks]

    # Painting

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Marks on top, then what is wrong, then how many tracks are live."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(self.look.bg))
        edge = self._edge()
        y = self._paint_marks(painter, edge)
        if self.scene.entries:
            fitted = self.layout_now()
            for panel in fitted.panels:
                self._paint_panel(painter, panel, QRect(edge, y, self.width() - 2 * edge, 0))
                y += panel.height + edge // 2
            self._paint_foot(painter, fitted)
        elif not self.scene.blind:
            self._paint_calm(painter)
        painter.end()

    def _paint_marks(self, painter: QPainter, y: int) -> int:
        font = self._least().bold
        high = QFontMetrics(font).height()
        ground = self.look.red if self.scene.blind else self.look.ink
        for lines in self.mark_lines():
            for words in lines:
                box = QRect(self._edge(), y, self.width() - 2 * self._edge(), high)
                painter.fillRect(box, QColor(ground))
                painter.setFont(font)
                painter.setPen(QColor(self.look.bg))
                shown = row_text.cut(font, f" {words}", box.width())
                painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, shown)
                y += high
            y += self._edge() // 2
        return y

    def _paint_panel(self, painter: QPainter, panel: Panel, place: QRect) -> None:
        look, tone = self.look, self.look.colour(panel.severity)
        ink, ground = look.ink, look.ground(panel.severity)
        box = QRectF(place.x(), place.y(), place.width(), panel.height)
        painter.setPen(Qt.PenStyle.NoPen)
        if panel.severity is Severity.RED and panel.unseen:
            ink, tone, ground = look.on_alarm, look.on_alarm, look.alarm
            if panel.alone:
                painter.setPen(QPen(QColor(look.ink), panel.bar // 2))
        elif panel.severity is Severity.AMBER:
            ground = look.panel
            painter.setPen(QPen(QColor(look.amber), max(2, panel.bar // 6)))
        painter.setBrush(QColor(ground))
        painter.drawRoundedRect(box, 10, 10)
        painter.fillRect(QRect(place.x(), place.y(), panel.bar, panel.height), QColor(tone))
        for words in panel.words:
            painter.setFont(words.font)
            painter.setPen(QColor(tone if words.tone == "severity" else ink))
            # Never clipped to its box: a font's overhang belongs to the letter.
            spot = words.box.translated(place.topLeft())
            flags = Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextDontClip
            painter.drawText(spot, flags, words.text)

    def _paint_foot(self, painter: QPainter, fitted: Fitted) -> None:
        """How many more, how many live, the time; and when letters are too small, from where."""
        edge, least = self._edge(), self._least()
        high = QFontMetrics(least.small).height()
        box = QRect(edge, self.height() - edge - high, self.width() - 2 * edge, high)
        parts = [self._calm()]
        if fitted.readable_m < self.distance_m - 0.01:
            parts.append(f"readable from {fitted.readable_m:.1f} m")
        if fitted.more:
            taken = sum(QFontMetrics(least.small).horizontalAdvance(f"   {p}") for p in parts[1:])
            parts.insert(0, self.more(fitted.more, least.bold, box.width() - taken))
        if self.scene.clock and not fitted.more:
            parts.append(self.scene.clock)
        self._spread(painter, box, parts, least.small, least.bold if fitted.more else least.small)

    def more(self, count: int, font: QFont, width: int) -> str:
        """How many more there are, and their tracks where there is room for all of them."""
        numbers = [entry.numbers for entry in self.scene.entries[-count:]]
        words = f"and {count} more"
        longer = f"{words}: {', '.join(filter(None, numbers))}"
        fits = all(numbers) and QFontMetrics(font).horizontalAdvance(longer) <= width
        return longer if fits else words

    def _spread(
        self, painter: QPainter, box: QRect, parts: Sequence[str], font: QFont, first: QFont
    ) -> None:
        """The first at the left, the others from the right, as many as have room."""
        painter.setFont(first)
        painter.setPen(QColor(self.look.ink if first.bold() else self.look.dim))
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, parts[0])
        left = box.x() + QFontMetrics(first).horizontalAdvance(parts[0] + "   ")
        painter.setFont(font)
        painter.setPen(QColor(self.look.dim))
        right, metrics = box.right(), QFontMetrics(font)
        for words in reversed(parts[1:]):
            x = right - metrics.horizontalAdvance(words)
            if x < left:
                break
            painter.drawText(
                QRect(x, box.y(), right - x + 2, box.height()), Qt.TextFlag.TextDontClip, words
            )
            right = x - metrics.horizontalAdvance("   ")

    def _paint_calm(self, painter: QPainter) -> None:
        aim = (
            viewing_distance.capital_mm(self.distance_m, viewing_distance.AIM_ARCMIN)
            * self.px_per_mm()
        )
        font = Letters.of(min(aim, self.width() / 30), aim).small
        painter.setFont(font)
        painter.setPen(QColor(self.look.ink))
        flags = Qt.AlignmentFlag.AlignCenter
        painter.drawText(self.rect(), flags, self._calm())
        painter.setFont(self._least().small)
        painter.setPen(QColor(self.look.dim))
        foot = self.rect().adjusted(0, 0, -self._edge(), -self._edge())
        painter.drawText(
            foot, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignBottom, self.scene.clock
        )

"""Widgets in rows, as many in each as there is room for: for buttons beside large text."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QSizePolicy, QWidget


class FlowLayout(QLayout):
    """Rows that break where the width ends. What may grow in a row shares what the row leaves.

    even : all widgets as wide as the widest, so that they stand in columns
    """

    def __init__(self, parent: QWidget | None = None, even: bool = False) -> None:
        super().__init__(parent) if parent is not None else super().__init__()
        self.setContentsMargins(0, 0, 0, 0)
        self._even = even
        self._items: list[QLayoutItem] = []

    # What Qt asks of a layout

    def addItem(self, item: QLayoutItem) -> None:  # noqa: N802
        """Put it at the end."""
        self._items.append(item)

    def count(self) -> int:
        """How many there are."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:  # noqa: N802
        """One of them; None behind the last."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:  # noqa: N802
        """Take one out."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:  # noqa: N802
        """No more room than it needs."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        """Narrower is higher."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """Height of all rows at that width."""
        return self._arrange(QRect(0, 0, width, 0), place=False)

    def setGeometry(self, rect: QRect) -> None:  # noqa: N802
        """Place all."""
        super().setGeometry(rect)
        self._arrange(rect, place=True)

    def sizeHint(self) -> QSize:  # noqa: N802
        """All in one row."""
        shown = [item.sizeHint() for item in self._shown()]
        gaps = self.spacing() * max(len(shown) - 1, 0)
        height = max((hint.height() for hint in shown), default=0)
        return QSize(sum(hint.width() for hint in shown) + gaps, height)

    def minimumSize(self) -> QSize:  # noqa: N802
        """The widest alone."""
        least = [item.minimumSize() for item in self._shown()]
        width = max((size.width() for size in least), default=0)
        return QSize(width, max((size.height() for size in least), default=0))

    # Rows

    def _shown(self) -> list[QLayoutItem]:
        return [item for item in self._items if not item.isEmpty()]

    def _rows(self, width: int) -> list[list[tuple[QLayoutItem, int]]]:
        """Items and their widths, row by row."""
        shown = self._shown()
        widths = [item.sizeHint().width() for item in shown]
        if self._even:
            widths = [max(widths)] * len(widths) if widths else []
        rows: list[list[tuple[QLayoutItem, int]]] = []
        x = width + 1
        for item, wide in zip(shown, widths, strict=True):
            if x + wide > width:
                rows.append([])
                x = 0
            rows[-1].append((item, min(wide, width)))
            x += wide + self.spacing()
        return [self._grown(row, width) for row in rows]

    def _grown(
        self, row: list[tuple[QLayoutItem, int]], width: int
    ) -> list[tuple[QLayoutItem, int]]:
        over = width - sum(wide for _, wide in row) - self.spacing() * (len(row) - 1)
        free = [n for n, (item, _) in enumerate(row) if _may_grow(item)]
        return [
            (item, wide + (over // len(free) if n in free else 0))
            for n, (item, wide) in enumerate(row)
        ]

    def _arrange(self, rect: QRect, place: bool) -> int:
        y = rect.y()
        for row in self._rows(rect.width()):
            height = max(item.sizeHint().height() for item, _ in row)
            x = rect.x()
            for item, wide in row:
                if place:
                    item.setGeometry(QRect(x, y, wide, height))
                x += wide + self.spacing()
            y += height + self.spacing()
        return max(y - self.spacing() - rect.y(), 0)


def _may_grow(item: QLayoutItem) -> bool:
    widget = item.widget()
    return (
        widget is not None
        and widget.sizePolicy().horizontalPolicy() is QSizePolicy.Policy.Expanding
    )

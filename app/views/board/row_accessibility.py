"""The painted rows as widgets of their own for those who hear the board: names without paint.

Qt's accessibility tree is made of widgets. Interfaces written in Python can be queried, too, but
would be called by assistive programs from outside Python; plain labels are known to every bridge.
"""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QLabel, QWidget

from app.models.board_rows import RowState
from app.views.board.board_layout import Layout
from app.views.board.board_picture import rect
from app.views.board.row_text import track_note
from engine.model.tracks import Track


class RowNames:
    """A label without paint over the name of each row; it takes no mouse and no keys.

    It covers number and name only: what changes with each snapshot is painted beside it.
    """

    def __init__(self, board: QWidget) -> None:
        self._board = board
        self._labels: list[QLabel] = []

    def say(self, tracks: Sequence[Track], states: Sequence[RowState]) -> None:
        """Name every track, its state and its pack; only what changed."""
        self._make(len(tracks))
        for label, track, state in zip(self._labels, tracks, states, strict=True):
            name = f"{track.input} {track.label}, {state.word}"
            more = ", ".join(part for part in (state.note, track_note(track)) if part)
            if label.accessibleName() != name:
                label.setAccessibleName(name)
            if label.accessibleDescription() != more:
                label.setAccessibleDescription(more)

    def _make(self, count: int) -> None:
        for label in self._labels[count:]:
            label.deleteLater()
        self._labels = self._labels[:count]
        while len(self._labels) < count:
            label = QLabel(self._board)
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
            self._labels.append(label)

    def lay_out(self, layout: Layout, offset: QPoint) -> None:
        """Put each where its row is painted; rows folded away are hidden."""
        boxes = {row.track_index: row for row in layout.rows}
        for track_index, label in enumerate(self._labels):
            row = boxes.get(track_index)
            label.setVisible(row is not None)
            if row is not None:
                label.setGeometry(rect(row.number).united(rect(row.name)).translated(offset))

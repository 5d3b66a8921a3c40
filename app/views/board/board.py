"""The board: every track a row. Shows what a snapshot says; decides nothing.

Three layers, by how often they change: text and frames (when a word changes), ribbons (four times
a second), bars and numbers (with each snapshot). Only what changed is painted again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from PySide6.QtCore import QPoint, QRect, QSize, Qt, Signal
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from app.models import board_rows as models
from app.models.board_rows import RowState
from app.style.state_marks import Mark
from app.style.theme import Look
from app.views.board import row_text
from app.views.board.board_layout import GroupBoxes, Widths, lay_out
from app.views.board.board_picture import BoardPicture, Scene, rect
from app.views.board.level_picture import Levels
from app.views.board.row_accessibility import RowNames
from app.views.board.row_text import Fonts
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan

EDGE_PX = (14, 16)
FOLDED_PX = 22
RIBBON_EACH_S = 0.25
"""The ribbons are drawn anew this often."""


class Board(QWidget):
    """All rows of a watch. `track_chosen` carries the input number pressed or stepped to."""

    track_chosen = Signal(int)
    closer_asked = Signal(int)

    def __init__(self, look: Look, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("board")
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Board: all tracks")
        self.look = look
        self.scale = 1.0
        self._names = RowNames(self)
        self.start(Plan(()))

    def start(self, plan: Plan) -> None:
        """Show a new watch's tracks, all of them still waiting for sound."""
        waiting = (RowState(Mark.OK, "waiting"),) * len(plan.tracks)
        hidden = models.folded(plan, {})
        self.scene = Scene(plan, models.groups(plan, hidden), waiting, folded=hidden)
        self._snapshot: Snapshot | None = None
        self._levels: Levels | None = None
        self._words_key: object = None
        self._ribbon_key: object = None
        self._drop_picture()
        self._describe()

    @property
    def chosen(self) -> frozenset[int]:
        """Input numbers of the tracks that keys act on."""
        return self.scene.chosen

    def set_look(self, look: Look, scale: float) -> None:
        """Change colours and size."""
        self.look, self.scale = look, scale
        self._drop_picture()

    def choose(self, tracks: Sequence[int]) -> None:
        """Mark these tracks as the ones that keys act on."""
        if frozenset(tracks) != self.chosen:
            self.scene = replace(self.scene, chosen=frozenset(tracks))
            if self._picture is not None:
                self._redraw(self._picture.layout.groups)
            self._describe()

    def step(self, by: int) -> None:
        """Choose the row above or below."""
        order = [
            self.scene.plan.tracks[p].input for g in self.scene.groups for p in g.track_indices
        ]
        if order:
            at = next((i for i, n in enumerate(order) if n in self.chosen), -1 if by > 0 else 0)
            self.track_chosen.emit(order[(at + by) % len(order)])

    # What a snapshot changes

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Take over a snapshot; marks for repainting only what differs."""
        if len(snapshot.present) != len(self.scene.plan.tracks):
            return
        self._snapshot = snapshot
        self._take_words(snapshot)
        picture = self._picture
        if picture is None:  # never painted yet at this size, or hidden
            return
        key = int(snapshot.ribbon.end_s / RIBBON_EACH_S)
        if key != self._ribbon_key:
            self._ribbon_key = key
            for part in picture.draw_ribbons(snapshot.ribbon, _marks(snapshot)):
                self.update(part)
        levels = picture.levels.levels_of(snapshot)
        if levels != self._levels:
            self._levels = levels
            for strip in picture.layout.strips:
                self.update(picture.shifted(strip))

    def _take_words(self, snapshot: Snapshot) -> None:
        out, present = snapshot.out_of_service, snapshot.present.tobytes()
        listened = snapshot.listening.track if snapshot.listening else None
        alarms = (snapshot.alarms, snapshot.covers)
        key = (int(snapshot.now_s), alarms, out, present, snapshot.desk, listened)
        if key == self._words_key:
            return
        self._words_key = key
        before, plan = self.scene, self.scene.plan
        hidden = models.folded(plan, models.by_track(snapshot.alarms))
        self.scene = replace(
            before,
            groups=models.groups(plan, hidden),
            states=models.row_states(plan, snapshot),
            group_states=models.group_states(plan, snapshot),
            folded=hidden,
            listened=listened,
        )
        if self.scene.groups != before.groups:
            self._drop_picture()
        elif self._picture is not None:
            groups, tracks = self._changed(before)
            self._redraw(groups)
            for part in self._picture.draw_states(self.scene, tracks) if tracks else ():
                self.update(part)
        self._describe()

    def _changed(self, before: Scene) -> tuple[list[GroupBoxes], list[int]]:
        """Groups in which more than a state differs from before; tracks outside them of which only
        the state does, as with each second that a fault lasts and whenever somebody speaks."""
        assert self._picture is not None
        now = self.scene
        pairs = list(enumerate(zip(now.states, before.states, strict=True)))
        differ = [p for p, (new, old) in pairs if new != old]
        coloured = {p for p, (new, old) in pairs if new.severity is not old.severity}
        groups = [
            g
            for g in self._picture.layout.groups
            if not coloured.isdisjoint(g.track_indices)
            or (now.listened != before.listened and self._holds(g, now.listened, before.listened))
            or now.group_states.get(now.groups[g.index].name)
            != before.group_states.get(now.groups[g.index].name)
        ]
        whole = {p for g in groups for p in g.track_indices}
        return groups, [p for p in differ if p not in whole]

    def _holds(self, group: GroupBoxes, *inputs: int | None) -> bool:
        return any(self.scene.plan.tracks[p].input in inputs for p in group.track_indices)

    def _describe(self) -> None:
        """Say in words what the rows show, for those who do not see them."""
        tracks = self.scene.plan.tracks
        rows = [
            f"{t.input} {t.label}: {s.word} {s.note}".strip()
            for t, s in zip(tracks, self.scene.states, strict=True)
            if s.severity is not None or t.input in self.chosen
        ]
        words = "; ".join(rows) or f"{len(tracks)} tracks, nothing wrong"
        if words != self.accessibleDescription():
            self.setAccessibleDescription(words)
        self._names.say(tracks, self.scene.states)

    # The picture, made when it is first needed at a size

    def _drop_picture(self) -> None:
        self._picture: BoardPicture | None = None
        self.update()

    def _redraw(self, groups: Sequence[GroupBoxes]) -> None:
        if self._picture is None or not groups:
            return
        self._picture.draw(self.scene, groups)
        for group in groups:
            self.update(self._picture.shifted(group.frame).adjusted(-2, -2, 2, 2))

    def _ask(self, columns: int, dense: bool, row_h: int) -> Widths:
        fonts = Fonts.of(row_h, self.scale, dense)
        shown = [p for g in self.scene.groups for p in g.track_indices]
        names = [self.scene.plan.tracks[p].label for p in shown]
        digits = len(str(max((t.input for t in self.scene.plan.tracks), default=1)))
        headings = [g.name for g in self.scene.groups]
        return row_text.widths(fonts, row_h, columns, names, headings, digits)

    def picture(self) -> BoardPicture:
        """The picture at the present size, drawn where there is none yet."""
        if self._picture is not None:
            return self._picture
        edge = QPoint(*(round(px * self.scale) for px in EDGE_PX))
        folded_h = round(FOLDED_PX * self.scale) if self.scene.folded else 0
        height = self.height() - 2 * edge.y() - folded_h
        track_indices = [g.track_indices for g in self.scene.groups]
        layout = lay_out(track_indices, self.width() - 2 * edge.x(), height, self.scale, self._ask)
        fonts = Fonts.of(layout.row_h, self.scale, layout.dense)
        ratio = self.devicePixelRatioF()
        made = self._picture = BoardPicture(layout, fonts, self.look, self.size(), ratio, edge)
        made.draw(self.scene, layout.groups)
        made.draw_scales()
        self._names.lay_out(layout, edge)
        if self.scene.folded:
            top = self.height() - edge.y() // 2 - folded_h
            made.draw_folded(self.scene, QRect(edge.x(), top, self.width(), folded_h))
        if self._snapshot is not None:
            made.draw_ribbons(self._snapshot.ribbon, _marks(self._snapshot))
            self._levels = made.levels.levels_of(self._snapshot)
        return made

    def resizeEvent(self, _event: object) -> None:  # noqa: N802
        """Lay out anew at the next painting."""
        self._drop_picture()

    def hideEvent(self, _event: object) -> None:  # noqa: N802
        """Draw nothing while another page is shown or the window is minimized."""
        self._drop_picture()

    def showEvent(self, _event: object) -> None:  # noqa: N802
        """Draw what is now."""
        self._drop_picture()

    def sizeHint(self) -> QSize:  # noqa: N802
        """Enough for a few rows; the window decides."""
        return QSize(600, 400)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        """Paint what is marked as changed."""
        picture = self.picture()
        painter = QPainter(self)
        picture.paint(painter, list(event.region()), self._levels)  # type: ignore[call-overload]
        if self.hasFocus():
            painter.setPen(QPen(QColor(self.look.cover), 2))
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Choose the track pressed."""
        number = self._track_at(event)
        if number is not None:
            self.track_chosen.emit(number)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        """Look closer at the track pressed twice."""
        number = self._track_at(event)
        if number is not None:
            self.closer_asked.emit(number)

    def _track_at(self, event: QMouseEvent) -> int | None:
        picture = self.picture()
        at = event.position().toPoint() - picture.offset
        for boxes in picture.layout.rows:
            if rect(boxes.row).contains(at):
                return self.scene.plan.tracks[boxes.track_index].input
        return None


def _marks(snapshot: Snapshot) -> list[float]:
    """When the crew dropped marks, s."""
    return [mark.at_s for mark in snapshot.desk.marks]

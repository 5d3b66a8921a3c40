"""A closer look at one track: two minutes of level over time, with its faults and live floor.

pyqtgraph is loaded when this is first opened: it takes half a second, which a start need not pay.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QPen
from PySide6.QtWidgets import QGraphicsRectItem, QHBoxLayout, QVBoxLayout, QWidget

from app.models import fault_words
from app.models.board_rows import tracks_of
from app.models.track_trace import SPAN_S, Trace, peaks, spans
from app.style import theme, wording
from app.style.theme import Look
from app.views.widgets.basics import Elided, plain, say
from engine.model.messages import Severity
from engine.model.snapshot import Snapshot
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Plan, Track

LOW_DBFS, HIGH_DBFS = -90.0, 3.0
EACH_S = 0.2
"""The curves are drawn anew this often."""
SPANS, LABELS = 40, 6
"""Most faults shaded and named at one time; two minutes hold few more."""


class TrackDetail(QWidget):
    """The plot of one track, told which by `choose`; asks for nothing and changes nothing."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setObjectName("closer")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.look, self.scale = look, 1.0
        self.plan = Plan(())
        self.track: Track | None = None
        self.blind = False  # in a drill of that kind no word may tell how a track is
        self.title, self.state = Elided("title"), plain()
        self.legend = plain("", "small", wrap=True)
        top = QHBoxLayout()
        top.addWidget(self.title, 1)
        top.addWidget(self.state)
        top.addWidget(plain("V: back to the board", "dim"))
        self._column = QVBoxLayout(self)
        self._column.addLayout(top)
        self._column.addWidget(self.legend)
        self._plot: Any = None
        self._drawn_s = -np.inf

    def set_look(self, look: Look, scale: float) -> None:
        """Change colours and size."""
        self.look, self.scale = look, scale
        edge = round(18 * scale)
        self._column.setContentsMargins(edge, round(12 * scale), edge, round(12 * scale))
        self._drawn_s = -np.inf
        if self._plot is not None:
            self._colour()

    def start(self, plan: Plan) -> None:
        """A new watch."""
        self.plan, self.track = plan, None
        self._trace = Trace(len(plan.tracks))

    def change(self, plan: Plan) -> None:
        """Another plan of the same watch: what was seen stays, and the track, if it has it."""
        inputs = [[track.input for track in one.tracks] for one in (self.plan, plan)]
        shown = self.track
        self._trace, self.plan = self._trace.of(TrackRemap.of(*inputs)), plan
        self.track = next((t for t in plan.tracks if shown and t.input == shown.input), None)
        self._drawn_s = -np.inf

    def choose(self, number: int) -> None:
        """Look at the track on that input."""
        self.track = self.plan.track(number)
        self._drawn_s = -np.inf
        if self._plot is None:
            self._make_plot()

    def _make_plot(self) -> None:
        import pyqtgraph as pg  # see the top of this file

        plot = self._plot = pg.PlotWidget()
        plot.setMenuEnabled(False)
        plot.hideButtons()
        plot.setMouseEnabled(x=False, y=False)
        plot.setRange(xRange=(-SPAN_S, 0), yRange=(LOW_DBFS, HIGH_DBFS), padding=0)
        plot.setLabel("left", "dBFS")
        plot.setLabel("bottom", "seconds, 0 is now")
        plot.setAccessibleName("Level over the last two minutes")
        plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._spans = [QGraphicsRectItem() for _ in range(SPANS)]
        for item in self._spans:
            item.setZValue(-10)
            plot.addItem(item, ignoreBounds=True)
        self._peak, self._level = plot.plot(connect="finite"), plot.plot(connect="finite")
        self._floor, self._presence = (pg.InfiniteLine(angle=0) for _ in range(2))
        self._labels = [pg.TextItem(anchor=(0, 0)) for _ in range(LABELS)]
        for item in (self._floor, self._presence, *self._labels):
            plot.addItem(item, ignoreBounds=True)
        self._column.insertWidget(1, plot, 1)
        self._colour()

    def _colour(self) -> None:
        look, plot = self.look, self._plot
        plot.setBackground(QColor(look.panel))
        small = theme.font(13 * self.scale)
        for side in ("left", "bottom"):
            axis = plot.getAxis(side)
            axis.setPen(QPen(QColor(look.edge)))
            axis.setTextPen(QPen(QColor(look.ink)))
            axis.setTickFont(small)
            axis.label.setFont(small)
            axis.label.setDefaultTextColor(QColor(look.ink))
        wide = max(1.0, 1.6 * self.scale)
        self._peak.setPen(_pen(look.ribbon, 1.0))
        self._level.setPen(_pen(look.ink, wide))
        self._floor.setPen(_pen(look.cover, wide, Qt.PenStyle.DashLine))
        self._presence.setPen(_pen(look.cover, wide, Qt.PenStyle.DotLine))
        for label in self._labels:
            label.setFont(theme.font(14 * self.scale, True))

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Remember the levels; draw them only while this is looked at."""
        if len(snapshot.present) != len(self.plan.tracks):
            return
        self._trace.add(snapshot)
        if self.track is None or not self.isVisible():
            return
        if 0 <= snapshot.now_s - self._drawn_s < EACH_S:
            return
        self._drawn_s = snapshot.now_s
        self._draw(snapshot, self.plan.tracks.index(self.track))

    def _draw(self, snapshot: Snapshot, track_index: int) -> None:
        self._peak.setData(*peaks(snapshot, track_index))
        self._level.setData(*self._trace.level(track_index, snapshot.now_s))
        floor = _at(snapshot.floor_dbfs, track_index)
        presence = _at(snapshot.presence_dbfs, track_index)
        for line, value in ((self._floor, floor), (self._presence, presence)):
            line.setVisible(value is not None)
            if value is not None:
                line.setValue(value)
        self._shade(snapshot, track_index)
        faults = self._name_faults(snapshot)
        self._say(floor, presence, faults)

    def _shade(self, snapshot: Snapshot, track_index: int) -> None:
        recent = spans(snapshot, track_index)[-SPANS:]
        for item, span in zip(self._spans, (*recent, *[None] * SPANS), strict=False):
            item.setVisible(span is not None)
            if span is not None:
                start_s, end_s, severity = span
                item.setRect(QRectF(start_s, LOW_DBFS, end_s - start_s, HIGH_DBFS - LOW_DBFS))
                item.setBrush(QBrush(QColor(self.look.ground(Severity(severity)))))
                item.setPen(QPen(Qt.PenStyle.NoPen))

    def _name_faults(self, snapshot: Snapshot) -> list[str]:
        """Write each fault's name where it began; returns the words."""
        assert self.track is not None
        mine = [a for a in snapshot.alarms if self.track.input in tracks_of(a)][:LABELS]
        faults = []
        for row, label in enumerate(self._labels):
            label.setVisible(row < len(mine))
            if row >= len(mine):
                continue
            incident = mine[row].incident
            ended = incident.end_s is not None
            word = fault_words.told(mine[row]) + (" · back" if ended else "")
            ago_s = snapshot.now_s - incident.onset_s
            faults.append(f"{word}, began {wording.lasted(ago_s)} ago")
            label.setText(word, color=self.look.colour(None if ended else incident.severity))
            label.setPos(max(-ago_s, -SPAN_S), HIGH_DBFS - 2 - 6 * row)
        return faults

    def _say(self, floor: float | None, presence: float | None, faults: list[str]) -> None:
        assert self.track is not None
        track = self.track
        pack = " · ".join(
            p for p in (f"pack {track.pack}" if track.pack else "", track.placement) if p
        )
        say(self.title, f"{track.input}  {wording.isolate(track.label)}   {pack}")
        fine = "" if self.blind else "nothing wrong"
        say(self.state, "; ".join(faults) or fine, "bold" if faults else "dim")
        learned = "live floor not learned yet"
        if floor is not None:
            learned = f"dashed: live floor {wording.level_of(floor)} dBFS"
        audible = (
            ""
            if presence is None
            else f" · dotted: presence threshold {wording.level_of(presence)} dBFS"
        )
        say(self.legend, f"thick: level, RMS over 400 ms · thin: sample peak · {learned}{audible}")
        self.setAccessibleName(f"Closer look at {track.input} {wording.isolate(track.label)}")
        words = f"{self.state.text()}. {self.legend.text()}"
        if words != self.accessibleDescription():
            self.setAccessibleDescription(words)


def _pen(colour: str, wide: float, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    pen = QPen(QColor(colour), wide, style)
    pen.setCosmetic(True)  # its width counts pixels, not dB
    return pen


def _at(levels: np.ndarray | None, track_index: int) -> float | None:
    """One track's level; None where there is none."""
    if levels is None or not np.isfinite(levels[track_index]):
        return None
    return float(levels[track_index])

"""Rows of widgets that break where the width ends."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PySide6.QtCore import QRect
from PySide6.QtWidgets import QLabel, QSizePolicy, QWidget
from pytestqt.qtbot import QtBot

from app.views.widgets.flow_layout import FlowLayout


def laid_out(qtbot: QtBot, widths: list[int], width: int, even: bool = False) -> list[QRect]:
    """Where labels of these widths stand, 10 high, 4 apart."""
    host = QWidget()
    qtbot.addWidget(host)
    layout = FlowLayout(host, even=even)
    layout.setSpacing(4)
    for wide in widths:
        label = QLabel()
        label.setFixedHeight(10)
        label.setMinimumWidth(wide)
        layout.addWidget(label)
    height = layout.heightForWidth(width)
    layout.setGeometry(QRect(0, 0, width, height))
    items = (layout.itemAt(n) for n in range(layout.count()))
    return [item.geometry() for item in items if item is not None]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    widths=st.lists(st.integers(10, 90), min_size=1, max_size=20),
    width=st.integers(90, 400),
    even=st.booleans(),
)
def test_all_stand_inside_and_apart(
    qtbot: QtBot, widths: list[int], width: int, even: bool
) -> None:
    """However many and however wide, all are whole, in order, and none lies over another."""
    places = laid_out(qtbot, widths, width, even)
    least = [max(widths)] * len(widths) if even else widths
    for place, wide in zip(places, least, strict=True):
        assert place.left() >= 0
        assert place.right() < width
        assert place.width() >= wide
    assert not any(a.intersects(b) for n, a in enumerate(places) for b in places[n + 1 :])
    assert places == sorted(places, key=lambda place: (place.y(), place.x()))


def test_what_may_grow_takes_what_its_row_leaves(qtbot: QtBot) -> None:
    """A field beside buttons is as wide as its row lets it; buttons stay as they are."""
    host = QWidget()
    qtbot.addWidget(host)
    layout = FlowLayout(host)
    layout.setSpacing(0)
    for wide in (40, 50):
        label = QLabel()
        label.setMinimumSize(wide, 10)
        layout.addWidget(label)
    layout.itemAt(0).widget().setSizePolicy(  # type: ignore[union-attr]
        QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed
    )
    layout.setGeometry(QRect(0, 0, 200, 10))
    assert layout.itemAt(0).geometry().width() == 150  # type: ignore[union-attr]
    assert layout.itemAt(1).geometry().width() == 50  # type: ignore[union-attr]


def test_what_is_hidden_takes_no_room(qtbot: QtBot) -> None:
    """A button that is not offered leaves no gap."""
    host = QWidget()
    qtbot.addWidget(host)
    layout = FlowLayout(host)
    labels = [QLabel() for _ in range(3)]
    for label in labels:
        label.setMinimumSize(30, 10)
        layout.addWidget(label)
    labels[0].hide()
    layout.setGeometry(QRect(0, 0, 100, 10))
    assert layout.itemAt(1).geometry().x() == 0  # type: ignore[union-attr]

"""The line above the board: what gives way where it is narrow."""

from __future__ import annotations

from dataclasses import replace

import pytest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.views.header import Header
from engine.model.commands import Watch
from tests.support.qt import fake_client


@pytest.fixture
def header(qtbot: QtBot) -> Header:
    """Watching the night at the tower."""
    made = Header()
    qtbot.addWidget(made)
    plan = replace(fake_client.tower_plan(), title="Raising the bell")
    made.set_scale(1.0)
    made.start(Watch(plan, "14-input interface", "48 kHz", live=True))
    made.show_snapshot(fake_client.snapshot(plan))
    made.show()
    return made


def test_the_title_is_the_last_to_give_way(header: Header) -> None:
    """First the name of the interface, then how long it is watched; title and clock stay whole."""
    seen = [(True, True)]
    for width in range(1400, 300, -20):
        if seen[-1] == (False, False):
            break
        header.resize(width, 44)
        QApplication.processEvents()
        seen.append((header.source.isVisible(), header.time.isVisible()))
        assert header.title.width() >= header.title.sizeHint().width()
        assert header.rect().contains(header.clock.geometry())
    assert sorted(set(seen), key=seen.index) == [(True, True), (False, True), (False, False)]
    assert seen == sorted(seen, reverse=True)

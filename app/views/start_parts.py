"""Parts of the start page: a card, and what is a plan."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QFrame, QVBoxLayout

from app.views.widgets.basics import plain


def card_of(title: str) -> tuple[QFrame, QVBoxLayout]:
    """A framed part of the page with its title."""
    card = QFrame()
    card.setObjectName("panel")
    column = QVBoxLayout(card)
    column.setContentsMargins(18, 14, 18, 14)
    column.setSpacing(8)
    column.addWidget(plain(title, "title"))
    return card, column


def is_plan(path: str) -> bool:
    """Plans go by their ending; anything else is a take."""
    return Path(path).suffix.lower() == ".toml"

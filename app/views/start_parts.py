"""Parts of the start page: a card, what is a plan, and how a plan reads in one line."""

from __future__ import annotations

import tomllib
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


def plan_line(path: str) -> str:
    """The name of that plan and how many tracks it has; the name alone where it can't be read."""
    name = Path(path).name
    try:
        tracks = len(tomllib.loads(Path(path).read_text(encoding="utf-8")).get("track", ()))
    except (OSError, ValueError, TypeError, AttributeError):
        return name
    return f"{name} · {tracks} track{'' if tracks == 1 else 's'}"

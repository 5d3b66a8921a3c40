"""Parts of the start page: a card, a live input as it is listed, what is a plan."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

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


class Input(Protocol):
    """A live input as the start page lists it."""

    @property
    def index(self) -> int:
        """Its number in the list of inputs."""
        ...

    @property
    def name(self) -> str:
        """As the system names it."""
        ...

    @property
    def host_api(self) -> str:
        """Through which sound system it is reached."""
        ...

    @property
    def channels(self) -> int:
        """How many it has."""
        ...

    @property
    def default_rate_hz(self) -> float:
        """Its sample rate unless another is asked for, Hz."""
        ...


def is_plan(path: str) -> bool:
    """Plans go by their ending; anything else is a take."""
    return Path(path).suffix.lower() == ".toml"

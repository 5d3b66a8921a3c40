"""A list to pick one name from; its first line stands for "none in particular"."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox


class Choice(QComboBox):
    """`picked` carries the name chosen, "" for the first line."""

    picked = Signal(str)

    def __init__(self, what: str, none: str, chosen: str = "") -> None:
        super().__init__()
        self.setAccessibleName(what)
        self.addItem(none)
        if chosen:
            self.addItem(chosen)
            self.setCurrentIndex(1)
        self.currentIndexChanged.connect(
            lambda index: self.picked.emit(self.itemText(index) if index > 0 else "")
        )

    def offer(self, names: Sequence[str]) -> None:
        """Add these names, keeping the one chosen."""
        known = {self.itemText(n) for n in range(self.count())}
        self.addItems([name for name in dict.fromkeys(names) if name not in known])

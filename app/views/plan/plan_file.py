"""Where a plan is to be saved."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from PySide6.QtCore import QStandardPaths
from PySide6.QtWidgets import QFileDialog, QLineEdit, QWidget

PLANS: Final = "Plans (*.toml)"
LONGEST_NAME: Final = 60
"""Of a file proposed, in letters; ours, well below what file systems take."""


def ask_where(window: QWidget, path: str) -> str:
    """Ask for a file to save a plan in; empty where that was given up.

    A name without an ending gets one, before it is asked whether a file may be written over: a
    plan is known by its ending.
    """
    dialog = QFileDialog(window, "Save the plan", "", PLANS)
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.setDefaultSuffix("toml")
    if not Path(path).is_absolute():
        path = str(Path(documents()) / path)
    dialog.setDirectory(str(Path(path).parent))
    dialog.selectFile(Path(path).name)
    _style_completion(dialog, window)
    return dialog.selectedFiles()[0] if dialog.exec() else ""


def _style_completion(dialog: QFileDialog, window: QWidget) -> None:
    """The list of names that fit what is typed is a window of its own, white in the night look."""
    for line in dialog.findChildren(QLineEdit):
        completer = line.completer()
        popup = None if completer is None else completer.popup()
        if popup is not None:
            popup.setPalette(window.palette())
            popup.setStyleSheet(window.window().styleSheet())


def documents() -> str:
    """Where people keep their papers, or their home: never the folder we were started in."""
    papers = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.DocumentsLocation)
    return papers if Path(papers).is_dir() else str(Path.home())


def name_for(title: str) -> str:
    """What to call the file of a plan with that title."""
    words = re.sub(r"[^\w]+", "-", title.lower()).strip("-_")
    return f"{words[:LONGEST_NAME] or 'plan'}.toml"

"""What comes after a drill: its score made, shown and printed. Loaded only then.

It brings the log's reader, the report and all detectors along.
"""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QWidget

from app.report.print_table import preview, table
from app.style.theme import Look
from app.views.drill.score_page import ScorePage
from engine.drill.finish import Finished, finish
from engine.drill.score_sheet import HEADS, facts, heading, own, rows
from engine.session.schema import NotALogError


def finished(folder: Path) -> Finished | str:
    """The drill of that session, kept in the crew's history; else one line on what went wrong."""
    try:
        return finish(folder)
    except (NotALogError, OSError) as error:
        return f"No score: {error}"


def page_of(done: Finished, parent: QWidget, look: Look) -> ScorePage:
    """The page to lay over the window."""
    page = ScorePage(parent, look, done)
    page.print_asked.connect(lambda: _print(page))
    return page


def _print(page: ScorePage) -> None:
    drill = page.done.drill
    under = " · ".join(f"{name} {value}" for name, value in facts(drill.score))
    document = table(heading(drill), f"{under} · {own(drill.score)}", HEADS, rows(drill))
    preview(page, document, heading(drill))

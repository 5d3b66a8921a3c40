"""What is left of a drill: its page beside the log, and a line in the crew's history."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from engine.drill.drill_history import Past, earlier, history_file, keep, others, past_of
from engine.drill.read_log import Drill, drill_of
from engine.drill.score_sheet import blocks, heading
from engine.report.formats.html_page import page

PAGE: Final = "drill.html"


@dataclass(frozen=True, slots=True)
class Finished:
    """A drill, the crew's drills up to it (itself the last), and its page to print."""

    drill: Drill
    drills: tuple[Past, ...]
    page: Path


def finish(folder: Path, history: Path | None = None, *, crew: bool = True) -> Finished:
    """Score the drill of that session, write its page, and keep it in the history.

    crew : False where nobody answered: then it is not kept

    Raises
    ------
    NotALogError, OSError
        Where log, page or history can't be read or written.
    """
    history = history or history_file()
    drill = drill_of(folder)
    past = past_of(drill, folder.name)
    drills = (*others(earlier(history), folder.name), past)
    if crew:
        keep(history, past)
    path = folder / PAGE
    text = page(heading(drill), blocks(drill, drills, folder.name))
    path.write_text(text, encoding="utf-8")
    path.chmod(0o600)
    return Finished(drill, drills, path)

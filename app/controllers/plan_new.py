"""A plan before the watch: made from a live input or a take, or opened, for the next watch."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QFileDialog

from app.controllers.plan_live import print_plan, write
from app.services.background import Background
from app.services.preferences import Preferences
from app.style import theme
from app.style import wording as words
from app.views.plan import plan_file
from app.views.start_page import TAKES, StartPage
from app.views.widgets.overlay import Layer

if TYPE_CHECKING:  # the library that edits a plan would slow down every start
    from app.models.plan_rows import Rows
    from app.models.plan_table import PlanTable

TABLES: Final = "Tables and plans (*.csv *.tsv *.txt *.toml);;All files (*)"
SOURCES: Final = {"take": TAKES, "table": TABLES}


class NewPlan(QObject):
    """Keeps the draft while its page is closed, until another plan is made or opened."""

    def __init__(
        self, start_page: StartPage, layer: Layer, prefs: Preferences, background: Background
    ) -> None:
        super().__init__(layer.window)  # outlives the page that shows its draft
        self._start_page, self._layer = start_page, layer
        self._prefs, self._background = prefs, background
        self._path = ""
        self._draft: PlanTable | None = None
        self._written = ""
        start_page.plan_wanted.connect(self.ask)
        start_page.plan_to_edit.connect(self.edit)

    def ask(self) -> None:
        """From what is the plan to be made?"""
        from app.views.plan.plan_source import PlanSource

        source = self._start_page.input
        named = "" if source is None else f"{source.name}, {words.channels(source.channels)}"
        used = self._start_page.inputs.carried
        page = PlanSource(self._layer.below, named, self._draft is not None, len(used))
        if source is not None:
            page.from_input.connect(lambda: self.from_input(source.channels))
            page.from_used.connect(lambda: self.from_input(source.channels, used))
        page.from_take.connect(lambda: self._ask_take("take"))
        page.from_folder.connect(lambda: self._ask_take("folder"))
        page.from_table.connect(lambda: self._ask_take("table"))
        page.from_template.connect(self.from_template)
        page.from_counts.connect(self.ask_counts)
        page.go_on.connect(self._show)
        self._layer.open(page)

    def _ask_take(self, kind: str) -> None:
        window = self._start_page.window()
        if kind == "folder":
            path = QFileDialog.getExistingDirectory(window, "Make a plan from a folder", self._last)
        else:
            title = f"Make a plan from a {kind}"
            path, _ = QFileDialog.getOpenFileName(window, title, self._last, SOURCES[kind])
        if path:
            self.from_take(path)

    def from_input(self, channels: int, used: Sequence[int] = ()) -> None:
        """A new plan of so many inputs, or of those in use alone."""
        from engine.runtime.open_source import (
            plan_of_input,  # the window is to be up before sources are loaded
        )

        self._begin("", plan_of_input(channels, used), channels)

    def from_template(self, number: int) -> None:
        """A new plan with the rows of that template."""
        from app.models.plan_rows import TEMPLATES

        self.from_rows(TEMPLATES[number][1].rows())

    def ask_counts(self) -> None:
        """How many performers, booms and the rest?"""
        from app.views.plan.plan_counts import PlanCounts

        page = PlanCounts(self._layer.below)
        page.begun.connect(self.from_rows)
        self._layer.open(page)

    def from_rows(self, rows: Rows) -> None:
        """A new plan that begins with these rows."""
        from app.models.plan_sheet import to_text
        from app.models.plan_table import PlanTable
        from engine.plan.template import new_plan

        table = PlanTable(new_plan([row[1] for row in rows]), None)
        table.paste(0, 0, to_text(rows))
        self._begin("", table.text, None)

    def from_take(self, path: str) -> None:
        """A new plan, named as that take names its tracks."""
        self._background.ask(lambda: _read(path), self._take)

    def _take(self, source: tuple[str, int] | str) -> None:
        if isinstance(source, str):
            self._start_page.show_error(source)
        else:
            self._begin("", *source)

    def edit(self, path: str) -> None:
        """The plan of that file."""
        if path == self._path and self._draft is not None and self._draft.text != self._written:
            self._show()
            return
        try:
            text = Path(path).read_text(encoding="utf-8")
            self._begin(path, text, None)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            self._start_page.show_error(f"{Path(path).name}: can't be read: {reason}.")
        except ValueError as error:
            message = f"{Path(path).name}: can't be edited here: {error}. Fix it in a text editor."
            self._start_page.show_error(message)

    def _begin(self, path: str, text: str, inputs: int | None) -> None:
        from app.models.plan_table import PlanTable

        self._draft = PlanTable(text, inputs, self)
        self._path, self._written = path, text if path else ""
        self._start_page.show_error("")
        self._show()

    def _show(self) -> None:
        from app.views.plan.plan_page import PlanPage

        assert self._draft is not None
        title = f"Plan: {Path(self._path).name}" if self._path else "New plan"
        look = theme.look_of(self._prefs.look)
        page = PlanPage(self._layer.below, self._draft, look, title, "Save and use")
        page.used.connect(self._use)
        page.saved.connect(lambda: self._save_as())
        page.print_asked.connect(lambda: print_plan(page))
        self._layer.open(page)

    def _use(self) -> None:
        """The next watch goes by it."""
        if self._draft is None or self._draft.mistakes:
            return
        saved = self.save_to(self._path) if self._path else self._save_as()
        if saved:
            self._start_page.set_plan(self._path)
            self._layer.hide()

    @property
    def _last(self) -> str:
        """Where the last plan or take lies."""
        recent = self._prefs.recent
        return str(Path(recent[0]).parent) if recent else ""

    def _fresh_path(self) -> str:
        title = "" if self._draft is None else self._draft.title
        return str(Path(self._last) / plan_file.name_for(title))

    def _save_as(self) -> bool:
        path = plan_file.ask_where(self._start_page.window(), self._path or self._fresh_path())
        return bool(path) and self.save_to(path)

    def save_to(self, path: str) -> bool:
        """Write the draft there, whole or not at all."""
        from app.views.plan.plan_page import PlanPage

        assert self._draft is not None
        problem = "" if (path, self._draft.text) == (self._path, self._written) else None
        if problem is None:
            problem = write(path, self._draft.text)
        if isinstance(self._layer.current, PlanPage):
            self._layer.current.say(problem or f"Saved: {Path(path).name}", bad=bool(problem))
        if problem:
            return False
        self._path, self._written = path, self._draft.text
        self._prefs.remember(path)
        self._start_page.set_recent(self._prefs.recent)
        return True


def _read(path: str) -> tuple[str, int] | str:
    """Text and channels, or why there are none."""
    from engine.plan.load import PlanError
    from engine.runtime.open_source import plan_from
    from engine.sources.base import SourceError

    try:
        return plan_from(path)
    except (SourceError, PlanError) as error:
        return " ".join(str(error).split())

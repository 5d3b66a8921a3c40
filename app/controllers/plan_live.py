"""What the key of the plan does: edit it, go by it at once, save it, print it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QSaveFile

from app.models.key_bindings import Act
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.views.plan import plan_file
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from engine.model.commands import ChangePlan, Open, Watch

if TYPE_CHECKING:  # the library that edits a plan would slow down every start
    from app.models.plan_table import PlanTable
    from app.views.plan.plan_page import PlanPage


def load() -> None:
    """Import what the plan's page takes, so that its key need not wait."""
    import app.models.plan_table
    import app.views.plan.plan_page  # noqa: F401


class LivePlan(QObject):
    """Keeps the draft while its page is closed; the engine keeps the plan itself."""

    def __init__(self, bridge: Bridge, page: WatchPage, layer: Layer, prefs: Preferences) -> None:
        super().__init__(layer.window)  # outlives the page that shows its draft
        self._bridge, self._page, self._layer, self._prefs = bridge, page, layer, prefs
        self._text, self._path = "", "plan.toml"
        self._saved: set[str] = set()
        self._inputs: int | None = None
        self._draft: PlanTable | None = None

    @property
    def unsaved(self) -> bool:
        """The plan in use was changed and is in no file."""
        return self._text not in self._saved

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the key of the plan does."""
        return {Act.PLAN: self.show}

    def opened(self, request: Open) -> None:
        """The next watch goes by that plan."""
        self._path = request.plan or "plan.toml"

    def begin(self, watch: Watch) -> None:
        """A watch begins: its plan came from a file, or was made for it and is nobody's work."""
        self._saved = {watch.plan_text}
        self.start(watch)

    def start(self, watch: Watch) -> None:
        """A watch goes by this plan now."""
        if watch.plan_text != self._text:
            self._text, self._draft = watch.plan_text, None
            self._inputs = watch.inputs or None

    def show(self) -> None:
        """The table, as it was left."""
        if not self._text:
            return
        from app.views.plan.plan_page import PlanPage

        if self._draft is None:
            self._draft = self._draft_of_plan()
        page = PlanPage(self._layer.below, self._draft, self._page.look)
        page.used.connect(self._use)
        page.saved.connect(self._save)
        page.print_asked.connect(lambda: print_plan(page))
        self._layer.open(page)

    def _draft_of_plan(self) -> PlanTable:
        from app.models.plan_table import PlanTable

        return PlanTable(self._text, self._inputs, self)

    def _use(self) -> None:
        """Go by it at once."""
        if self._draft is not None and not self._draft.mistakes:
            self._bridge.ask(ChangePlan(self._draft.text))
            self._layer.hide()
            if self._draft.text not in self._saved:
                self._page.footer.say("Plan in use, not saved: P, then Ctrl+S saves it.", stay=True)
            else:
                self._page.footer.say(f"Plan in use, saved as {Path(self._path).name}.")

    def save_in_use(self) -> bool:
        """Save the plan that is in use; False where that was given up or failed."""
        self._draft = self._draft_of_plan()
        self._save()
        return not self.unsaved

    def _save(self) -> None:
        if self._draft is None or self._draft.mistakes:
            return
        path = plan_file.ask_where(self._page.window(), self._path)
        if path:
            self.save_to(path)

    def save_to(self, path: str) -> None:
        """Write the draft there, whole or not at all."""
        assert self._draft is not None
        problem = write(path, self._draft.text)
        self._page.footer.say(problem or f"Plan saved: {Path(path).name}")
        if not problem:
            self._path = path
            self._saved.add(self._draft.text)
            self._prefs.remember(path)


def write(path: str, text: str) -> str:
    """Write a plan there, whole or not at all; what went wrong, empty where nothing did."""
    file = QSaveFile(path)
    whole = file.open(QSaveFile.OpenModeFlag.WriteOnly)
    whole = whole and file.write(text.encode()) >= 0 and file.commit()
    return "" if whole else f"{Path(path).name}: not saved: {file.errorString()}"


def print_plan(page: PlanPage) -> None:
    """Show it as it will be printed."""
    from app.models.plan_table import COLUMNS, HEADS
    from app.report.print_table import preview, table

    model = page.model
    rows = [[model.words(n, key) for key in COLUMNS] for n in range(model.rowCount())]
    title = model.title or "Plan"
    preview(page, table(title, "Plan of the tracks", HEADS, rows), title)

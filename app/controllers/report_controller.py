"""What the key of the report does: ask what it shall be, have it written, say where it lies."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

from PySide6.QtCore import QObject, QTimer, QUrl, Signal
from PySide6.QtGui import QDesktopServices

from app.models.choices import ReportChoices
from app.models.key_bindings import Act
from app.services.background import Background
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.style import wording
from app.views.progress_page import ProgressPage
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer

if TYPE_CHECKING:
    from app.models.report_subjects import Subject
    from app.report.job import ReportJob
    from app.report.worker import News
    from app.views.report.report_page import ReportPage

POLL_MS: Final = 60
TITLE: Final = "Writing the report"


def load() -> None:
    """Import what a report takes: a quarter of a second that no key has to wait for."""
    import app.report.job
    import app.report.print_table  # noqa: F401


class AtWork(Protocol):
    """A report on its way; see `worker.Worker`."""

    def news(self) -> News | None:
        """What is new since the last call."""
        ...

    def cancel(self) -> None:
        """Ask it to stop."""
        ...

    def close(self) -> None:
        """Let go of its process."""
        ...


def in_a_process(job: ReportJob) -> AtWork:
    """Begin it in a process of its own."""
    from app.report.worker import Worker  # brings the report's own libraries: only when asked

    return Worker(job)


@dataclass(frozen=True, slots=True)
class Occasion:
    """What a report can be of now.

    only : the session on the board; None for a list of earlier sessions and takes
    plan : file of the plan for takes
    refusal : why there can be none now; empty where there can
    """

    only: Subject | None = None
    plan: str | None = None
    refusal: str = ""


def of_session(bridge: Bridge, page: WatchPage, secret: bool) -> Occasion:
    """The session on the board so far, unless it would give a drill away."""
    folder = bridge.folder
    if secret:
        return Occasion(refusal="Reports are hidden until after the drill.")
    if folder is None or page.last is None:
        return Occasion(refusal="This watch has no log to report from.")
    from app.models.report_subjects import Subject

    words = f"{page.header.title.text()}, {wording.watching(page.last.now_s)}"
    return Occasion(Subject(folder.name, words, session=folder))


class ReportController(QObject):
    """At most one report at a time; it goes on while its page is hidden.

    `said` carries a line on what became of it; `occasion` says what it can be of.
    """

    said = Signal(str)

    def __init__(
        self,
        layer: Layer,
        prefs: Preferences,
        background: Background,
        occasion: Callable[[], Occasion],
        begin: Callable[[ReportJob], AtWork] = in_a_process,
    ) -> None:
        super().__init__(layer)
        self._layer, self._prefs, self._background = layer, prefs, background
        self._occasion, self._begin = occasion, begin
        self._work: AtWork | None = None
        self.page: ProgressPage | None = None
        self._timer = QTimer(self, interval=POLL_MS)
        self._timer.timeout.connect(self.poll)

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the key of the report does."""
        return {Act.REPORT: self.show}

    @property
    def at_work(self) -> bool:
        """A report is being written."""
        return self._work is not None

    def show(self) -> None:
        """The page to choose, or that of the report on its way."""
        if self.at_work:
            self._show_progress(TITLE)
            return
        occasion = self._occasion()
        if occasion.refusal:
            self.said.emit(occasion.refusal)
            return
        page = self._ask(occasion)
        if occasion.only is None:
            self._list_subjects(page)

    def _list_subjects(self, page: ReportPage) -> None:
        """Earlier sessions and takes, once they were read."""
        from app.models import report_subjects
        from app.views.start_parts import is_plan

        takes = [path for path in self._prefs.recent if not is_plan(path)]

        def offer(earlier: Sequence[Subject]) -> None:
            if page is self._layer.current:
                page.offer(
                    [*earlier, *map(report_subjects.of_take, (*takes, report_subjects.DEMO))]
                )

        self._background.ask(report_subjects.sessions, offer)

    def _ask(self, occasion: Occasion) -> ReportPage:
        from app.views.report.report_page import ReportPage

        page = ReportPage(self._layer.below, self._prefs.report, occasion.plan, occasion.only)
        page.wanted.connect(self.start)
        self._layer.open(page)
        return page

    # On its way

    def start(self, job: ReportJob, choices: ReportChoices) -> None:
        """Have it written."""
        self._prefs.report = choices
        self._work = self._begin(job)
        self._show_progress(TITLE)
        self._timer.start()

    def _show_progress(self, title: str) -> None:
        page = ProgressPage(self._layer.below, title, "Go on in the background")
        page.cancelled.connect(self.cancel)
        page.put("starting")
        self.page = page
        self._layer.open(page)

    @property
    def _shown(self) -> ProgressPage | None:
        """Its page, unless another was opened in its place, which deletes it."""
        return self.page if self.page is self._layer.current else None

    def poll(self) -> None:
        """Look once for news of it."""
        from app.report.worker import Step

        news = None if self._work is None else self._work.news()
        if news is None:
            return
        if isinstance(news, Step):
            page = self._shown
            if page is not None and page.cancel.isEnabled():
                page.put(news.words, news.share)
            return
        self._end()
        self._tell(news)

    def cancel(self) -> None:
        """It is no longer wanted."""
        if self._work is not None:
            self._work.cancel()
            if self._shown is not None:
                self._shown.stopping()

    def close(self) -> None:
        """The window goes: so does the report."""
        if self._work is not None:
            self._end()

    def _end(self) -> None:
        self._timer.stop()
        work, self._work = self._work, None
        assert work is not None
        work.close()

    # How it ended

    def _tell(self, news: News) -> None:
        from app.report.job import Written
        from app.report.worker import Failed

        if isinstance(news, Written):
            left = " ".join(f"Left out: {one}" for one in news.left_out)
            acts = [("Open the folder", lambda: open_path(news.folder))]
            if news.html is not None:
                html = news.html
                acts.insert(0, ("Open the report", lambda: open_path(html)))
            self._finish("Report", f"{news.words} In {news.folder}", left, acts)
        elif isinstance(news, Failed):
            self._finish("No report", "Nothing was written.", wording.sentence(news.words))
        else:
            self._finish("No report", "Cancelled: nothing was written.")

    def _finish(
        self,
        title: str,
        words: str,
        more: str = "",
        acts: Sequence[tuple[str, Callable[[], None]]] = (),
    ) -> None:
        """On its page where that is open or nothing else is; else a line, so as not to disturb."""
        page, self.page = self._shown, None
        self.said.emit(" ".join(filter(None, (words, more))))
        if page is not None and page.isVisible():
            page.finish(title, words, more, acts)


def open_path(path: Path) -> None:
    """Show a file or folder with the system's own program."""
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))

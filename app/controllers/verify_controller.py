"""Did the recorder get it: has takes held against a session by a process, and shows the result."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

from PySide6.QtCore import QObject, QTimer, Signal

from app.controllers.report_controller import AtWork, open_path
from app.models.key_bindings import Act
from app.services.background import Background
from app.services.preferences import Preferences
from app.style import theme, wording
from app.style.theme import Look
from app.views.widgets.overlay import Layer

if TYPE_CHECKING:
    from app.models.report_subjects import Subject
    from app.models.verify_sheet import VerifySheet
    from app.report.verify_job import VerifyJob
    from app.report.worker import Step
    from app.views.verify.recorder_page import RecorderPage

POLL_MS: Final = 60
TITLE: Final = "Did the recorder get it?"
PATIENT_MS: Final = 1000
"""Within that a cancelled comparison ends by itself, else by force: it writes nothing."""
GUESS_AFTER_S: Final = 2.0
"""Before that nothing is said of how long it will take."""


def in_a_process(job: VerifyJob) -> Comparing:
    """Begin it in a process of its own."""
    from app.report.worker import Worker  # brings what reads takes: only when asked

    return Worker(job)


class Comparing(AtWork, Protocol):
    """A comparison on its way; it leaves nothing half done."""

    def kill(self) -> None:
        """End it at once."""
        ...


class VerifyController(QObject):
    """One comparison at a time; nobody waits for it to end when its page goes.

    `folder` says which session runs now; `secret` that a drill must not be given away; `refused`
    carries why it can't be shown.
    """

    refused = Signal(str)

    def __init__(
        self,
        layer: Layer,
        background: Background,
        prefs: Preferences,
        folder: Callable[[], Path | None],
        secret: Callable[[], bool],
        begin: Callable[[VerifyJob], Comparing] = in_a_process,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(layer)
        self._layer, self._background, self._prefs = layer, background, prefs
        self._folder, self._secret, self._begin, self._clock = folder, secret, begin, clock
        self.look: Look = theme.NIGHT
        self._opened: RecorderPage | None = None
        self._work: Comparing | None = None
        self._began_at = 0.0
        self._timer = QTimer(self, interval=POLL_MS)
        self._timer.timeout.connect(self.poll)
        self._force = QTimer(self, interval=PATIENT_MS, singleShot=True)
        self._force.timeout.connect(self._kill)

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What its key does."""
        return {Act.VERIFY: self.show}

    def show(self) -> None:
        """The page, at the session that runs, else at the newest one."""
        if self._secret():
            self.refused.emit("That would tell: after the drill.")
            return
        from app.models import report_subjects
        from app.views.verify.recorder_page import RecorderPage

        page = RecorderPage(self._layer.below, self.look)
        page.wanted.connect(self.start)
        page.cancelled.connect(self.cancel)
        page.print_asked.connect(self._print)
        page.shown.connect(lambda shown: None if shown else self.cancel())
        self._opened = page
        self._layer.open(page)

        def offer(subjects: Sequence[Subject]) -> None:
            if page is self._layer.current:
                page.offer(subjects, self._folder())

        self._background.ask(report_subjects.sessions, offer)

    def take_in(self, paths: Sequence[str]) -> bool:
        """What was dropped beside the page counts as well; False where the page is not shown."""
        page = self._page
        if page is None or not page.isVisible():
            return False
        page.take_in(paths)
        return True

    def start(self, session: Path, takes: tuple[str, ...]) -> None:
        """Hold these takes against that session."""
        from app.report.verify_job import VerifyJob

        self.close()
        self._work = self._begin(VerifyJob(session, takes))
        self._began_at = self._clock()
        if (page := self._page) is not None:
            page.show_progress("…", 0.0, None)
        self._timer.start()

    def poll(self) -> None:
        """Look once for news of it."""
        from app.models.verify_sheet import VerifySheet
        from app.report.worker import Failed, Step

        news = None if self._work is None else self._work.news()
        if news is None:
            return
        page = self._page
        if isinstance(news, Step):
            self._show_step(news)
            return
        self.close()
        if page is None:
            return
        if isinstance(news, VerifySheet):
            page.show_sheet(news)
        elif isinstance(news, Failed):
            page.show_problem(wording.sentence(news.words))
        else:
            page.show_problem("Cancelled.")

    def _show_step(self, step: Step) -> None:
        page = self._page
        if page is None or not page.cancel.isEnabled():
            return
        passed_s = self._clock() - self._began_at
        known = passed_s > GUESS_AFTER_S and step.share > 0.0
        left_s = passed_s * (1.0 - step.share) / step.share if known else None
        page.show_progress(step.words, step.share, left_s)

    def cancel(self) -> None:
        """It is no longer wanted."""
        if self._work is not None:
            self._work.cancel()
            self._force.start()
            if (page := self._page) is not None:
                page.show_stopping()

    def _kill(self) -> None:
        if self._work is not None:
            self._work.kill()

    def close(self) -> None:
        """The page or the window goes: so does the comparison."""
        self._timer.stop()
        self._force.stop()
        work, self._work = self._work, None
        if work is not None:
            work.close()

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.look = look
        if (page := self._page) is not None:
            page.set_look(look)

    def _print(self) -> None:
        """Onto one sheet: a PDF beside the session's reports, shown by the system's own program."""
        page = self._page
        if page is None or page.sheet is None or page.session is None:
            return
        choices, sheet = self._prefs.report, page.sheet
        path = choices.folder / page.session.name / "recorder.pdf"
        self._background.ask(lambda: _written(sheet, path, choices.paper), self._printed)

    def _printed(self, done: Path | str) -> None:
        if isinstance(done, Path):
            open_path(done)
        elif (page := self._page) is not None:
            page.show_note(done)

    @property
    def _page(self) -> RecorderPage | None:
        """The page, unless another was opened in its place, which deletes it."""
        return self._opened if self._opened is self._layer.current else None


def _written(sheet: VerifySheet, path: Path, paper: str) -> Path | str:
    """The sheet's file, or why there is none."""
    from app.report.pdf import write_blocks  # brings the setting of pages: only when asked

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_blocks(sheet.sheet, TITLE, path, paper)
    except OSError as error:
        return wording.sentence(" ".join(str(error).split()))
    return path

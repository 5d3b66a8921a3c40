"""What the keys of the line check do, and what its page is shown."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject

from app.models.key_bindings import Act
from app.models.line_check_flow import (
    Turn,
    is_clean,
    is_their_turn,
    left,
    same_person,
    speaker,
    turn_after,
)
from app.models.line_check_words import sheet
from app.services.bridge import Bridge
from app.style import wording
from app.views.line_check_page import LineCheckPage
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from engine.model import fault_remedies
from engine.model.commands import (
    EndLineCheck,
    LineCheckGo,
    LineCheckMark,
    StartLineCheck,
    SwapInputs,
)
from engine.model.line_results import LineCheck, Verdict
from engine.model.messages import Fault
from engine.model.snapshot import Snapshot

LOST = (Fault.MUTED, Fault.DEAD_MIC, Fault.SILENT)
HEADS = ("Input", "Name", "Verdict", "At", "Speech", "Peak", "Floor", "Note")


class LineCheckController(QObject):
    """Joins keys, page and watch; the engine keeps the check itself."""

    def __init__(self, bridge: Bridge, page: WatchPage, layer: Layer) -> None:
        super().__init__(page)
        self._bridge, self._page, self._layer = bridge, page, layer
        self._next = False
        self._acted_at: int | None = None
        self._turn: Turn | None = None

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What each key of the line check does."""
        return {Act.LINE_CHECK: self.check_all, Act.LINE_CHECK_ONE: self.check_one}

    @property
    def page(self) -> LineCheckPage | None:
        """The check's page, while it is open."""
        current = self._layer.current
        return current if isinstance(current, LineCheckPage) and current.isVisible() else None

    def check_all(self) -> None:
        """Walk through all tracks in use."""
        self._open(())

    def check_next(self) -> None:
        """Begin with the next watch that opens."""
        self._next = True

    def check_one(self) -> None:
        """Only the chosen track, again."""
        chosen = tuple(sorted(self._page.board.chosen))
        if chosen:
            self._open(chosen)
        else:
            self._page.footer.say("Choose a track first, then Shift+K to check it.")

    def _open(self, tracks: tuple[int, ...]) -> None:
        self._bridge.ask(StartLineCheck(tracks))
        page = LineCheckPage(self._layer.below, self._page.plan)
        page.marked.connect(self._mark)
        page.gone.connect(lambda track: self._bridge.ask(LineCheckGo(track)))
        page.swap.connect(lambda one, other: self._bridge.ask(SwapInputs(one, other)))
        page.closed.connect(lambda: self._bridge.ask(EndLineCheck()))
        page.print_asked.connect(self._print)
        self._layer.open(page)

    def _mark(self, verdict: Verdict, note: str) -> None:
        page = self.page
        at = None if page is None or page.state is None else page.state.at
        self._bridge.ask(LineCheckMark(verdict, note, at))

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Bring the page up to date."""
        if self._next:
            self._next = False
            self.check_all()
        page = self.page
        if page is not None and snapshot.line_check is not None:
            page.set_dead(self._dead_words(snapshot, snapshot.line_check.at))
            page.show_state(snapshot.line_check, self._page.plan)
            self._go_on(page, snapshot, snapshot.line_check)

    def _go_on(self, page: LineCheckPage, snapshot: Snapshot, check: LineCheck) -> None:
        """By itself after a clean pass, or to whoever speaks, where that is wished."""
        if page.note.hasFocus():
            return  # what is being typed belongs to this track
        if check.at is not None and check.at == self._acted_at:
            return  # said already: the engine has not answered yet
        self._acted_at = None
        plan = self._page.plan
        track = next((t for t in plan.tracks if t.input == check.at), None)
        if track is not None and page.by_itself.isChecked() and is_clean(check.heard, track):
            self._acted_at = check.at
            page.pass_by_itself()
        elif page.by_voice.isChecked():
            self._go_to_speaker(snapshot, check)

    def _go_to_speaker(self, snapshot: Snapshot, check: LineCheck) -> None:
        number = speaker(self._page.plan, snapshot, left(check))
        if number is not None and same_person(self._page.plan, number, check.at):
            self._turn = None
            return
        self._turn = turn_after(self._turn, number, snapshot.now_s)
        if self._turn is not None and is_their_turn(self._turn, check.heard):
            self._acted_at = check.at
            self._bridge.ask(LineCheckGo(self._turn.number))
            self._turn = None

    def _dead_words(self, snapshot: Snapshot, number: int | None) -> str:
        """What stands against the track asked for: a dead mic reads dead."""
        for alarm in snapshot.alarms:
            one = alarm.incident
            if one.fault in LOST and one.end_s is None and number in (one.track, *one.tracks):
                return wording.sentence(
                    f"{fault_remedies.word(one.fault)}: {fault_remedies.check_first(one)}"
                )
        return ""

    def _print(self) -> None:
        page = self.page
        if page is not None and page.state is not None:
            from app.report.print_table import preview, table

            title = f"Line check · {self._page.plan.title}".rstrip(" ·")
            document = table(title, "", HEADS, sheet(page.state, self._page.plan))
            preview(page, document, title)

"""The window: puts pages, keys, bridge and alerts together. No logic of its own."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import QMainWindow, QStackedWidget

from app import shapes, theme
from app.alerts import Alerts
from app.bridge import Bridge
from app.chime import ChimeSettings, Player
from app.headphones import Headphones
from app.keys import KEYS, Act
from app.models import faults
from app.models.fix_list import Card
from app.prefs import Prefs
from app.start_page import Input, StartPage
from app.views.chime_page import ChimePage
from app.views.overlay import Help, Layer, Question
from app.views.watch_page import WatchPage
from engine.commands import Open, Watch
from engine.model import AlarmState, Snapshot

SHELVE_S = 300.0
STOP_WORDS = "The alarms stop. The recorder goes on by itself; nothing on it is touched."
CLOSE_WORDS = (
    f"{STOP_WORDS} Or only close this window: the watch and its log go on unseen and unheard "
    "until trackwarden is opened again."
)


class MainWindow(QMainWindow):
    """`inputs` finds the live inputs; it is called on the audio thread."""

    def __init__(
        self,
        bridge: Bridge,
        prefs: Prefs,
        inputs: Callable[[], Sequence[Input]] = tuple,
        player: Player | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.bridge, self.prefs, self._inputs = bridge, prefs, inputs
        self.look = theme.LOOKS.get(prefs.look, theme.NIGHT)
        self._scale = 0.0
        self._live = False
        self._leaving = False
        self.setWindowTitle("trackwarden")
        self.setWindowIcon(shapes.window_icon())
        self.setMinimumSize(960, 600)
        self.setAcceptDrops(True)
        self.start_page, self.watch_page = StartPage(), WatchPage(self.look)
        self.pages = QStackedWidget()
        for page in (self.start_page, self.watch_page):
            self.pages.addWidget(page)
        self.setCentralWidget(self.pages)
        self.alerts = Alerts(self, prefs.chime, player, clock)
        self.layer = Layer(self.pages)
        self.headphones = Headphones(bridge, prefs, self.watch_page, self.layer, self.alerts)
        self._make_keys()
        self._connect()
        self.start_page.set_recent(prefs.recent)

    def _make_keys(self) -> None:
        acts: dict[Act, Callable[[], None]] = {
            Act.SEEN: self.see,
            Act.ALL_SEEN: self.bridge.acknowledge_all,
            Act.SHELVE: self.shelve,
            Act.OUT: self.out_of_service,
            Act.STANDBY: self.toggle_standby,
            Act.QUIET: self.toggle_quiet,
            Act.CHIME: self.show_chime,
            Act.UP: lambda: self._step(-1),
            Act.DOWN: lambda: self._step(1),
            Act.LOOK: self.toggle_look,
            Act.FULL_SCREEN: self.toggle_full_screen,
            Act.HELP: self.show_help,
            Act.BACK: self.back,
            **self.headphones.acts(),
        }
        for key in KEYS:
            shortcut = QShortcut(QKeySequence(key.sequence), self)
            shortcut.setAutoRepeat(key.act in (Act.UP, Act.DOWN))
            shortcut.activated.connect(lambda k=key: self._press(k.watching, k.act, acts[k.act]))
            if key.watching:  # the start page has keys of its own
                shortcut.setEnabled(False)
                self.pages.currentChanged.connect(
                    lambda _at, s=shortcut: s.setEnabled(self.watching)
                )

    def _press(self, watching: bool, act: Act, do: Callable[[], None]) -> None:
        """Keys of the board act only on the board, and not through a page laid over it."""
        if act is Act.BACK or not (self.layer.covers or (watching and not self.watching)):
            do()

    def _connect(self) -> None:
        bridge, page = self.bridge, self.watch_page
        bridge.opening.connect(self.start_page.show_progress)
        bridge.started.connect(self._started)
        bridge.snapshot.connect(self._show_snapshot)
        bridge.failed.connect(self._failed)
        bridge.silent.connect(page.footer.show_silence)
        bridge.silent.connect(lambda _s: page.show_silence("The engine does not answer."))
        bridge.silent.connect(lambda _s: self.alerts.show_silence())
        bridge.stopped.connect(self._stopped)
        self.start_page.chosen.connect(self.open)
        page.header.standby_asked.connect(self.toggle_standby)
        page.header.look_asked.connect(self.toggle_look)
        page.footer.chime_asked.connect(self.show_chime)
        page.fix_list.seen.connect(self.see)
        page.fix_list.shelved.connect(self.shelve)
        page.fix_list.chosen.connect(self._choose_card)
        page.board.track_chosen.connect(self._choose_track)
        self.alerts.problem.connect(self._chime_problem)

    # Watching

    @property
    def watching(self) -> bool:
        """The board is shown."""
        return self.pages.currentWidget() is self.watch_page

    def find_inputs(self) -> None:
        """Look for live inputs without holding up the window."""
        self.alerts.ask(self._inputs, self.start_page.set_inputs)

    def warm_up(self) -> None:
        """What the window needs soon but not at once, off its thread: words of faults, inputs."""
        self.alerts.ask(faults.load, lambda _rows: None)
        self.find_inputs()

    def open(self, request: Open) -> None:
        """Start watching."""
        for path in (request.plan, request.take):
            if path:
                self.prefs.remember(path)
        self.start_page.set_recent(self.prefs.recent)
        self.start_page.show_progress("")
        self.bridge.open(request)

    def _started(self, watch: Watch) -> None:
        self._live = watch.live
        self.start_page.show_error("")
        self.watch_page.start(watch)
        self.alerts.start(self.windowIcon())
        self.setWindowTitle(f"{watch.plan.title or watch.source} – trackwarden")
        self.pages.setCurrentWidget(self.watch_page)
        self.watch_page.board.setFocus()
        self.watch_page.fix_list.setFocus()

    def _show_snapshot(self, snapshot: Snapshot) -> None:
        cards = self.watch_page.show_snapshot(snapshot)
        self.alerts.show_snapshot(snapshot, cards)
        self.headphones.show_snapshot(snapshot)
        self.watch_page.footer.show_chime(self.alerts.words())

    def _stopped(self, words: str) -> None:
        self.watch_page.show_silence(words)
        self.alerts.show_stopped()

    def _failed(self, words: str) -> None:
        if self.watching:
            self.watch_page.show_silence(f"{words} Esc: start page")
            self.alerts.show_silence()
        else:
            self.start_page.show_error(words)

    def _chime_problem(self, words: str) -> None:
        told = f"No sound device for the chime: {words}. Choose another with C."
        self.watch_page.footer.say(told)

    # What keys and buttons do

    def see(self, card: Card | None = None) -> None:
        """Acknowledge the chosen card."""
        for number in self._card_incidents(card):
            self.bridge.acknowledge(number)

    def shelve(self, card: Card | None = None) -> None:
        """Shelve the chosen card for five minutes, or put it back."""
        card = card or self.watch_page.fix_list.current
        for number in self._card_incidents(card):
            if card is not None and card.state is AlarmState.SHELVED:
                self.bridge.unshelve(number)
            else:
                self.bridge.shelve(number, SHELVE_S)

    def _card_incidents(self, card: Card | None) -> tuple[int, ...]:
        card = card or self.watch_page.fix_list.current
        return card.incidents if card else ()

    def out_of_service(self) -> None:
        """Take the chosen tracks out of service, or put them back."""
        last, chosen = self.watch_page.last, sorted(self.watch_page.board.chosen)
        if last is None:
            return
        for number in chosen:
            self.bridge.out_of_service(number, number not in last.out_of_service)

    def toggle_standby(self) -> None:
        """Standby or rolling."""
        last = self.watch_page.last
        if last is not None:
            self.bridge.set_standby(not last.standby)

    def toggle_quiet(self) -> None:
        """Quiet the chime, or let it sound."""
        self.alerts.toggle_quiet()
        self.watch_page.footer.show_chime(self.alerts.words())

    def _step(self, by: int) -> None:
        page = self.watch_page
        (page.board if page.board.hasFocus() else page.fix_list).step(by)

    def _choose_card(self, card: Card | None) -> None:
        self.watch_page.board.choose(card.tracks if card else ())

    def _choose_track(self, number: int) -> None:
        self.watch_page.fix_list.choose_track(number)
        self.watch_page.board.choose((number,))

    # Look, overlays, leaving

    def toggle_look(self) -> None:
        """Night or day."""
        self.look = theme.DAY if self.look is theme.NIGHT else theme.NIGHT
        self.prefs.look = self.look.name
        self._apply()

    def toggle_full_screen(self) -> None:
        """Full screen or window."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def _apply(self) -> None:
        self.setPalette(theme.palette(self.look))
        self.setStyleSheet(theme.sheet(self.look, self._scale))
        self.watch_page.set_look(self.look, self._scale)
        self.start_page.set_scale(self._scale)

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Keep the size of everything in step with the window."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        # In steps, so that dragging an edge does not restyle everything at each pixel.
        scale = round(theme.scale_for(self.width(), self.height()) * 20) / 20
        if scale != self._scale:
            self._scale = scale
            self._apply()
        self.layer.fit()

    def show_help(self) -> None:
        """Keys and cautions."""
        self.layer.open(Help(self.pages))

    def show_chime(self) -> None:
        """Chime settings."""
        page = ChimePage(self.pages, self.alerts.settings)
        page.changed.connect(self._set_chime)
        page.test.connect(self.alerts.test)
        self.layer.open(page)
        self.alerts.find_outputs(self._offer_outputs)

    def _offer_outputs(self, names: Sequence[str]) -> None:
        if isinstance(self.layer.current, ChimePage):
            self.layer.current.set_outputs(names)

    def _set_chime(self, settings: ChimeSettings) -> None:
        self.alerts.settings = self.prefs.chime = settings
        self.watch_page.footer.show_chime(self.alerts.words())

    def back(self) -> None:
        """Close what lies on top; then leave full screen; then go to the start page."""
        if self.layer.covers:
            self.layer.hide()
        elif self.watching and self.headphones.playing:
            self.headphones.stop()
        elif self.watching:
            self._ask_first(self.to_start, STOP_WORDS)
        elif self.isFullScreen():
            self.toggle_full_screen()

    def _ask_first(
        self,
        act: Callable[[], None],
        words: str,
        other: tuple[str, Callable[[], None]] | None = None,
    ) -> None:
        if self._live and self.bridge.running:
            self.layer.open(
                Question(self.pages, "Stop watching?", words, "Stop watching", act, other)
            )
        else:
            act()

    def to_start(self) -> None:
        """End the watch and show the start page."""
        self.bridge.stop()
        self.setWindowTitle("trackwarden")
        self.pages.setCurrentWidget(self.start_page)
        self.find_inputs()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Takes and plans are welcome."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Open what was dropped, unless a live input is being watched."""
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if self.watching and self._live and self.bridge.running:
            self.watch_page.footer.say("Still watching a live input: press Esc first.")
        elif paths:
            self.start_page.open_paths(paths)

    def _close_now(self) -> None:
        self._leaving = True
        self.close()

    def _close_only(self) -> None:
        """The window goes, the watch goes on."""
        self.bridge.close()
        self._close_now()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Ask while watching live; then end everything in good order."""
        if self._live and self.bridge.running and not self._leaving:
            event.ignore()
            other = ("Close, watch on", self._close_only)
            self._ask_first(self._close_now, CLOSE_WORDS, other)
            return
        self.bridge.stop()
        self.alerts.close()
        super().closeEvent(event)

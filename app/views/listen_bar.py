"""What the headphones play: the track, its place in time, level and limit, and how to stop it."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QSlider, QWidget

from app.style import wording
from app.views.widgets.basics import Button, Elided, plain, say
from app.views.widgets.choice import Choice
from app.views.widgets.overlay import Overlay
from engine.model.listening import HIGHEST_LIMIT_DB, LIMIT_DB, Listening
from engine.model.number_text import number
from engine.model.tracks import Plan

CAUTION = (
    "Level low first. Headphones on once the sound plays: it starts low, turn it up slowly.",
    "The limit is digital: the gain of your headphone amplifier is not known.",
    "A loud peak can damage your hearing for good. Follow the hearing rules where you work.",
    "Packs stay live between takes: respect the people who wear them, and their privacy.",
    "Sealed headphones, or a loudspeaker that no open mic can hear.",
)
DEFAULT_OUTPUT = "System default"
NARROW_SHARE = 21
"""Width over height of the bar from which heading and output have room."""
MINUTE_S = 59.5
"""Many or fast tracks are kept for less than a minute: then it is said."""


def decibels(value_db: float) -> str:
    """A level with a true minus sign."""
    return number(value_db, "dB", digits=0, signed=bool(round(value_db)))


def words_of(listening: Listening, plan: Plan, now_s: float) -> str:
    """Which track, whose pack, and when: live or how long ago."""
    track = next((t for t in plan.tracks if t.input == listening.track), None)
    if track is None:
        return ""
    ago_s = max(now_s - listening.at_s, 0.0)
    short = 0.0 < listening.kept_s < MINUTE_S
    memory = f" of {wording.lasted(listening.kept_s)} kept" if short else ""
    when = "live" if listening.live else f"{wording.lasted(ago_s)} ago{memory}"
    pack = f" · pack {track.pack}" if track.pack else ""
    match = listening.matched_db
    same = f" · matched by {decibels(match)}" if abs(match) >= 0.5 else ""
    return f"{track.input}  {wording.isolate(track.label)}{pack} · {when}{same}"


class ListenBar(QWidget):
    """A strip under the board, there only while something is heard or could not be."""

    softer_asked = Signal()
    louder_asked = Signal()
    other_asked = Signal()
    fault_asked = Signal()
    output_asked = Signal()
    stop_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("listen")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName("Listening")
        self.words, self.level = Elided("bold"), plain()
        self.softer, self.louder = Button("−"), Button("+")
        self.softer.setAccessibleName("Softer")
        self.louder.setAccessibleName("Louder")
        self.other, self.fault = Button("Other pack", "X"), Button("Before fault", "⇧L")
        self.output, self.stop = Button("Output"), Button("Stop", "L")
        self._shown: Listening | None = None
        self.row = QHBoxLayout(self)
        self.heading = plain("LISTENING", "heading")
        self.row.addWidget(self.heading)
        self.row.addWidget(self.words, 1)
        self.row.addWidget(self.level)
        for button, asked in (
            (self.softer, self.softer_asked),
            (self.louder, self.louder_asked),
            (self.other, self.other_asked),
            (self.fault, self.fault_asked),
            (self.output, self.output_asked),
            (self.stop, self.stop_asked),
        ):
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(asked)
            self.row.addWidget(button)
        self.hide()

    def resizeEvent(self, _event: object) -> None:  # noqa: N802
        """Where there is little room, what is heard needs it most; a key chooses the output."""
        for part in (self.heading, self.output):
            part.setVisible(self.width() >= NARROW_SHARE * self.height())

    def set_scale(self, scale: float) -> None:
        """Height and spacing at that size."""
        self.setFixedHeight(round(40 * scale))
        self.row.setContentsMargins(round(18 * scale), 0, round(18 * scale), 0)
        self.row.setSpacing(round(10 * scale))

    def show_state(self, listening: Listening, plan: Plan, now_s: float) -> None:
        """Bring it up to date; hides where nothing is heard and nothing is wrong."""
        playing = listening.track is not None
        as_before = listening == self._shown and self.isHidden() == (not listening.problem)
        if not playing and as_before:
            return
        self._shown = listening
        if playing:
            say(self.words, words_of(listening, plan, now_s), "bold")
        elif listening.problem:
            say(self.words, f"Listening failed: {listening.problem}", "amber")
        self.words.setAccessibleName(self.words.text())
        say(self.level, f"{decibels(listening.level_db)}, limit {decibels(listening.limit_db)}")
        self.other.setVisible(playing and plan.other_pack(listening.track or 0) is not None)
        for button in (self.softer, self.louder, self.fault):
            button.setVisible(playing)
        self.level.setVisible(playing)
        self.louder.setEnabled(listening.level_db < listening.limit_db)
        shown = playing or bool(listening.problem)
        if self.isHidden() == shown:
            self.setVisible(shown)


class Caution(Overlay):
    """Shown before the first listening of each watch; nothing sounds unless Listen is pressed."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName("Before you listen")
        self.column.addWidget(plain("Before you listen", "title"))
        for words in CAUTION:
            self.column.addWidget(plain(words))
        row = QHBoxLayout()
        self.no, self.yes = Button("Not now", "Esc", main=True), Button("Listen", main=True)
        for button in (self.no, self.yes):
            button.clicked.connect(self.hide)
            row.addWidget(button)
        self.column.addLayout(row)


class ListenPage(Overlay):
    """Where the headphones are, and the limit. `output_chosen` carries a name, "" the default."""

    output_chosen = Signal(str)
    limit_chosen = Signal(float)

    def __init__(self, parent: QWidget, output: str, limit_db: float) -> None:
        super().__init__(parent)
        self.setAccessibleName("Headphones")
        self.column.addWidget(plain("Headphones", "title"))
        self.output = Choice("Output for listening", DEFAULT_OUTPUT, output)
        self.limit = QSlider(Qt.Orientation.Horizontal)
        self.limit.setRange(-40, round(HIGHEST_LIMIT_DB))
        self.limit.setPageStep(6)
        self.limit.setValue(round(limit_db))
        self.limit.setAccessibleName("Highest level and peak, dB")
        self.limit_words = plain()
        self._line("Output", self.output)
        self._line("Limit", self.limit, self.limit_words)
        self.warning = plain("", "small")
        self.column.addWidget(self.warning)
        self.column.addWidget(plain("Separate from the output of the chime.", "small"))
        for words in CAUTION:
            self.column.addWidget(plain(words, "small"))
        self.done = Button("Done", "Esc", main=True).as_primary()
        self.column.addWidget(self.done, 0, Qt.AlignmentFlag.AlignLeft)
        self._show_limit()
        self.output.picked.connect(self.output_chosen)
        self.limit.valueChanged.connect(self._show_limit)
        self.limit.valueChanged.connect(lambda value: self.limit_chosen.emit(float(value)))
        self.done.clicked.connect(self.hide)

    def _line(self, words: str, *parts: QWidget) -> None:
        row = QHBoxLayout()
        label = plain(words)
        label.setMinimumWidth(70)
        row.addWidget(label)
        for part in parts:
            row.addWidget(part, int(isinstance(part, (Choice, QSlider))))
        self.column.addLayout(row)

    def _show_limit(self) -> None:
        value = self.limit.value()
        self.limit_words.setText(number(value, "dBFS", digits=0))
        if value > LIMIT_DB:
            words = "Raised: only for headphones that are too quiet. Lower it again afterwards."
            say(self.warning, words, "amber")
        else:
            words = f"No sample goes over this at any level. Usual: {decibels(LIMIT_DB)}."
            say(self.warning, words, "small")

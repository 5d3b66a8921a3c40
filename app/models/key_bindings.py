"""The one table of keys: shortcuts, buttons and the help page read it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final


class Act(Enum):
    """What a key does."""

    SEEN = auto()
    SEEN_WORST = auto()
    ALL_SEEN = auto()
    SHELVE = auto()
    SHELVE_LONG = auto()
    SHELVE_OPEN = auto()
    UNDO = auto()
    SWAP = auto()
    NOTE = auto()
    MARK = auto()
    MARK_WORDS = auto()
    BREAK = auto()
    BATTERY = auto()
    GLANCE = auto()
    GLANCE_WINDOW = auto()
    SHARE = auto()
    OVERVIEW = auto()
    CLOSER = auto()
    HISTORY = auto()
    SESSION = auto()
    VERIFY = auto()
    REPORT = auto()
    SETTINGS = auto()
    OUT = auto()
    STANDBY = auto()
    LOOK = auto()
    QUIET = auto()
    LISTEN = auto()
    LISTEN_FAULT = auto()
    OTHER_PACK = auto()
    LOUDER = auto()
    SOFTER = auto()
    HEADPHONES = auto()
    ROUND = auto()
    ROUND_BACK = auto()
    ROUND_STAY = auto()
    ROUND_RIGHT = auto()
    ROUND_DOUBT = auto()
    ROUND_DOUBT_WORDS = auto()
    ROUND_END = auto()
    LINE_CHECK = auto()
    LINE_CHECK_ONE = auto()
    PLAN = auto()
    CHIME = auto()
    UP = auto()
    DOWN = auto()
    FULL_SCREEN = auto()
    HELP = auto()
    BACK = auto()


@dataclass(frozen=True, slots=True)
class Key:
    """A key, its name on screen and what it does in words.

    watching : only while something is watched
    anywhere : also while a page lies over the board
    """

    act: Act
    sequence: str
    shown: str
    words: str
    watching: bool = True
    anywhere: bool = False


KEYS: Final = (
    Key(Act.SEEN, "A", "A", "seen it: acknowledge the chosen entry"),
    Key(Act.SEEN_WORST, "F9", "F9", "seen it: the worst alarm, on every page", anywhere=True),
    Key(Act.ALL_SEEN, "Shift+A", "Shift+A", "all seen"),
    Key(Act.SHELVE, "S", "S", "shelve the chosen entry for a short time, or put it back"),
    Key(Act.SHELVE_LONG, "Shift+S", "Shift+S", "shelve it for a long time"),
    Key(Act.SHELVE_OPEN, "Ctrl+S", "Ctrl+S", "shelve it until you put it back"),
    Key(Act.OUT, "O", "O", "chosen track out of service, or back in service"),
    Key(Act.UNDO, "U", "U", "undo the last seen, shelved, put back or out of service"),
    Key(Act.SWAP, "Shift+W", "Shift+W", "swapped: swap the chosen entry's inputs in the plan"),
    Key(Act.NOTE, "T", "T", "note on the chosen entry"),
    Key(Act.MARK, "M", "M", "mark at the present timecode"),
    Key(Act.MARK_WORDS, "Shift+M", "Shift+M", "mark with words"),
    Key(Act.BATTERY, "F", "F", "log a battery change in the chosen pack"),
    Key(Act.STANDBY, "R", "R", "standby while not rolling, or rolling again"),
    Key(Act.BREAK, "B", "B", "break: only ambience and input-loss alarms stay active; or its end"),
    Key(Act.QUIET, "Space", "Space", "quiet the chime for 2 minutes, or let it sound again"),
    Key(Act.GLANCE, "G", "G", "glance view: only what is wrong, huge; or the board"),
    Key(Act.GLANCE_WINDOW, "Shift+G", "Shift+G", "glance view in a window of its own"),
    Key(Act.SHARE, "Ctrl+G", "Ctrl+G", "glance view on phones: share it, new code, off"),
    Key(Act.OVERVIEW, "Ctrl+O", "Ctrl+O", "all carts that publish at a broker", False),
    Key(Act.CLOSER, "V", "V", "closer look at the chosen track, or back to the board"),
    Key(Act.SESSION, "Shift+H", "Shift+H", "what happened: time line of a session", False),
    Key(Act.HISTORY, "H", "H", "history of this watch's incidents"),
    Key(
        Act.REPORT, "W", "W", "write a report: of this session, or of earlier ones and takes", False
    ),
    Key(Act.VERIFY, "Ctrl+R", "Ctrl+R", "did the recorder get it: takes against a session", False),
    Key(Act.LISTEN, "L", "L", "listen to the chosen track in the headphones, or stop"),
    Key(Act.LISTEN_FAULT, "Shift+L", "Shift+L", "listen from 5 s before its fault"),
    Key(Act.OTHER_PACK, "X", "X", "while listening: main or safety, equally loud"),
    Key(Act.LOUDER, "+", "+", "while listening: louder, up to the limit"),
    Key(Act.SOFTER, "-", "−", "while listening: softer"),
    Key(Act.HEADPHONES, "Ctrl+L", "Ctrl+L", "headphones: output and limit"),
    Key(Act.ROUND, "E", "E", "round: every track in the headphones; in a round, the next track"),
    Key(Act.ROUND_BACK, "Shift+E", "Shift+E", "in a round: the track before once more"),
    Key(Act.ROUND_STAY, "Z", "Z", "in a round: stay on this track, or go on"),
    Key(Act.ROUND_RIGHT, "Y", "Y", "in a round: sounds right, next"),
    Key(Act.ROUND_DOUBT, "D", "D", "in a round: doubt about this track"),
    Key(Act.ROUND_DOUBT_WORDS, "Shift+D", "Shift+D", "the same with a word"),
    Key(Act.ROUND_END, "Q", "Q", "end the round"),
    Key(Act.LINE_CHECK, "K", "K", "line check: all tracks, one by one"),
    Key(Act.LINE_CHECK_ONE, "Shift+K", "Shift+K", "line check of the chosen track alone"),
    Key(Act.PLAN, "P", "P", "plan: edit it while watching, save it, print it"),
    Key(Act.CHIME, "C", "C", "chime: output, level, test"),
    Key(Act.UP, "Up", "↑", "choose the entry (or, on the board, the track) above"),
    Key(Act.DOWN, "Down", "↓", "choose the one below"),
    Key(Act.SETTINGS, ",", ",", "settings", watching=False),
    Key(Act.LOOK, "N", "N", "night or day look", watching=False, anywhere=True),
    Key(Act.FULL_SCREEN, "F11", "F11", "full screen", watching=False),
    Key(Act.HELP, "?", "?", "this page", watching=False),
    Key(
        Act.BACK,
        "Esc",
        "Esc",
        "close this page; back to the start page",
        watching=False,
        anywhere=True,
    ),
)

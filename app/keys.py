"""The one table of keys: shortcuts, buttons and the help page read it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final


class Act(Enum):
    """What a key does."""

    SEEN = auto()
    ALL_SEEN = auto()
    SHELVE = auto()
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
    CHIME = auto()
    UP = auto()
    DOWN = auto()
    FULL_SCREEN = auto()
    HELP = auto()
    BACK = auto()


@dataclass(frozen=True, slots=True)
class Key:
    """A key, its name on screen and what it does in words; `watching`: only on the board."""

    act: Act
    sequence: str
    shown: str
    words: str
    watching: bool = True


KEYS: Final = (
    Key(Act.SEEN, "A", "A", "seen it: acknowledge the chosen entry"),
    Key(Act.ALL_SEEN, "Shift+A", "Shift+A", "all seen"),
    Key(Act.SHELVE, "S", "S", "shelve the chosen entry for 5 minutes, or put it back"),
    Key(Act.OUT, "O", "O", "chosen track out of service, or back in service"),
    Key(Act.STANDBY, "R", "R", "standby while not rolling, or rolling again"),
    Key(Act.QUIET, "Space", "Space", "quiet the chime for 2 minutes, or let it sound again"),
    Key(Act.LISTEN, "L", "L", "listen to the chosen track in the headphones, or stop"),
    Key(Act.LISTEN_FAULT, "Shift+L", "Shift+L", "listen from 5 s before its fault"),
    Key(Act.OTHER_PACK, "X", "X", "while listening: main or safety, equally loud"),
    Key(Act.LOUDER, "+", "+", "while listening: louder, up to the limit"),
    Key(Act.SOFTER, "-", "−", "while listening: softer"),
    Key(Act.HEADPHONES, "Ctrl+L", "Ctrl+L", "headphones: output and limit"),
    Key(Act.CHIME, "C", "C", "chime: output, level, test"),
    Key(Act.UP, "Up", "↑", "choose the entry (or, on the board, the track) above"),
    Key(Act.DOWN, "Down", "↓", "choose the one below"),
    Key(Act.LOOK, "N", "N", "night or day look", watching=False),
    Key(Act.FULL_SCREEN, "F11", "F11", "full screen", watching=False),
    Key(Act.HELP, "?", "?", "this page", watching=False),
    Key(Act.BACK, "Esc", "Esc", "close this page; back to the start page", watching=False),
)

CAUTIONS: Final = (
    "This is no safety system. Never stop a stunt or a rescue for a pack.",
    "Mind your ears: set the listening level low before you put headphones on.",
    "Open mics near a loudspeaker record the chime: send it to headphones.",
    "Radio and work rules are local: licences, power and hours are yours to know.",
)

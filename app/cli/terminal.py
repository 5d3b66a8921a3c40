"""What the terminal can show: signs, colours, and a reader that stops reading."""

from __future__ import annotations

import codecs
import os
import sys
from typing import TYPE_CHECKING, Final, TextIO

if TYPE_CHECKING:  # the terminal is asked before anything of a watch is loaded
    from engine.model.messages import Severity

SIGNS: Final = {
    "▲": "^",
    "■": "#",
    "○": "o",
    "●": "*",
    "·": "-",
    "–": "-",
    "—": "-",
    "−": "-",
    "…": "...",
    "→": "->",
    "✓": "ok",
    "✕": "x",
    "×": "x",
    "’": "'",
    "“": '"',
    "”": '"',
    "„": '"',
}
"""What stands for a sign where the terminal's encoding lacks it."""

_COLOURS: Final = {"red": "1;97;41", "amber": "33"}
"""SGR (ECMA-48) by the word of the severity: bold white on red, amber letters."""
_HANDLER: Final = "trackwarden-signs"
CHOICES: Final = ("auto", "always", "never")

_wanted = "auto"


def prepare() -> None:
    """Let no sign end the program where the terminal's encoding lacks it."""
    codecs.register_error(_HANDLER, _replace)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_HANDLER)


def _replace(error: UnicodeError) -> tuple[str | bytes, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    return "".join(SIGNS.get(sign, "?") for sign in signs), error.end


def set_colour(wanted: str) -> None:
    """As --color has it: auto, always or never."""
    global _wanted
    _wanted = wanted


def coloured(stream: TextIO) -> bool:
    """Colours are wanted there. NO_COLOR: https://no-color.org."""
    if _wanted != "auto":
        return _wanted == "always"
    dumb = os.environ.get("TERM") == "dumb"
    return stream.isatty() and not os.environ.get("NO_COLOR") and not dumb


def paint(words: str, severity: Severity | None, stream: TextIO) -> str:
    """The words in the colour of that severity, where colours are wanted."""
    code = _COLOURS[severity.word] if severity is not None else None
    return f"\x1b[{code}m{words}\x1b[0m" if code and coloured(stream) else words


def stop_writing() -> None:
    """Nobody reads our output any more: what is written from now on goes nowhere."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def sentence_of(error: OSError) -> str:
    """An error of the system as people say it: 'night.html: permission denied'."""
    words = (error.strerror or str(error)).rstrip(".")
    words = words[:1].lower() + words[1:] if error.strerror else words
    return f"{error.filename}: {words}" if error.filename else words

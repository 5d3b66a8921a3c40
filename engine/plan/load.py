"""The plan file: load it, and say of every mistake in it its line, its key and what is allowed.

Nothing is guessed and nothing is dropped: a plan with a mistake is refused as a whole.
"""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from engine.model.safe_text import harmless
from engine.model.tracks import Plan
from engine.plan.keys import PlanMistake, check
from engine.plan.template import new_plan
from engine.plan.toml_lines import toml_lines

__all__ = ["PlanError", "PlanMistake", "load_plan", "new_plan"]

LONGEST_FILE_BYTES: Final = 131_072
LONGEST_LINE: Final = 1000
"""Bounds on what is parsed: far over any real plan, and low enough that no file takes seconds."""

_SYNTAX_HELP: Final = 'a line reads key = value, text in double quotes: name = "Boom 1"'


@dataclass
class PlanError(Exception):
    """A plan that is refused: the file and all its mistakes, in line order."""

    path: Path
    mistakes: tuple[PlanMistake, ...]

    def __str__(self) -> str:
        return "\n".join(f"{harmless(str(self.path))}: {m}" for m in self.mistakes)


def load_plan(path: str | Path, inputs: int | None = None) -> Plan:
    """The plan in that file, its tracks in input order.

    Parameters
    ----------
    path : str or Path
        A TOML file in UTF-8, with or without a byte order mark.
    inputs : int, optional
        How many inputs the source has; without it that is not checked.

    Raises
    ------
    PlanError
        If the file can't be read or holds any mistake; it names them all.
    """
    path = Path(path)
    return parse_plan(_text(path), inputs, path)


def parse_plan(text: str, inputs: int | None = None, path: Path = Path("plan")) -> Plan:
    """The plan of that text; `path` is the name that its mistakes bear. See `load_plan`."""
    long_lines = [
        PlanMistake(number, "", f"longer than {LONGEST_LINE} characters")
        for number, line in enumerate(text.split("\n"), start=1)
        if len(line) > LONGEST_LINE
    ]
    if long_lines:
        raise _refused(path, long_lines)
    try:
        document = tomllib.loads(text)
        lines = toml_lines(text)
    except RecursionError:
        raise _refused(path, [PlanMistake(0, "", "lists nested too deeply for a plan")]) from None
    except ValueError as error:
        raise _refused(path, [_syntax_mistake(text, str(error))]) from None
    plan, mistakes = check(document, lines, inputs)
    if mistakes:
        raise _refused(path, mistakes)
    return plan


def _refused(path: Path, mistakes: Iterable[PlanMistake]) -> PlanError:
    return PlanError(path, tuple(sorted(mistakes, key=lambda mistake: mistake.line)))


def _text(path: Path) -> str:
    """The file's text, its byte order mark taken off."""

    def refuse(message: str, line: int = 0) -> PlanError:
        return _refused(path, [PlanMistake(line, "", message)])

    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise refuse("is not a file; a plan is a text file (TOML)")
        with path.open("rb") as file:
            data = file.read(LONGEST_FILE_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a path with a null character
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"cannot be read: {reason}") from None
    if len(data) > LONGEST_FILE_BYTES:
        raise refuse(f"is larger than {LONGEST_FILE_BYTES} bytes: not a plan")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise refuse("is not UTF-8 text: save it as UTF-8", line) from None


def _syntax_mistake(text: str, reason: str) -> PlanMistake:
    """What the TOML parser said, on the line it named, with the key that stands there."""
    match = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", reason)
    lines = text.split("\n")
    last = len(text.rstrip().split("\n"))
    line = min(int(match[1]), len(lines)) if match and match[1] else last if match else 0
    reason = reason[: match.start()] if match else reason
    key = re.match(r"\s*\[*\s*([A-Za-z0-9_.-]+)", lines[line - 1]) if line else None
    sentences = {
        "Cannot overwrite a value": "given twice in one table; keep one",
        "Cannot declare": "this table is there already; write each once (each track [[track]])",
    }
    sentence = next((text for start, text in sentences.items() if reason.startswith(start)), None)
    return PlanMistake(line, key[1] if key else "", sentence or f"{reason}; {_SYNTAX_HELP}")

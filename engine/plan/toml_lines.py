"""On which line each key and table of a TOML document stands.

The standard parser says what a document holds, not where. This walks a document that the parser
has already accepted, so it need only find its way, not judge.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from typing import Final

Path = tuple[str | int, ...]
"""A place in the document: keys, and indexes counted from 0 where a list is entered."""

DEEPEST: Final = 6
"""Keys of a path that are kept; no plan is deeper, and it bounds what a hostile file costs."""

_TRIVIA: Final = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_KEY: Final = re.compile(r"""[ \t]*([A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')[ \t]*""")
_VALUE: Final = re.compile(
    r'''"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'''
    r"""|'''(?:[^']|'{1,2}(?!'))*'{3,5}"""
    r'''|"(?:[^"\\]|\\.)*"'''
    r"""|'[^']*'"""
    r"""|[^,\]}#\n]+""",
    re.DOTALL,
)


def toml_lines(text: str) -> dict[Path, int]:
    """The line, counted from 1, of each key and table of a valid document.

    Parameters
    ----------
    text : str
        A document that `tomllib.loads` accepts.

    Returns
    -------
    dict
        Path to line: of a key its own line, of a table or list entry the line of its header, of
        one that only dotted keys made the line where it is first named.

    Raises
    ------
    RecursionError
        If lists or tables are nested too deeply for this Python.
    """
    return _Walk(text.replace("\r\n", "\n")).document()


class _Walk:
    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._starts = [0, *(match.end() for match in re.finditer("\n", text))]
        self._lines: dict[Path, int] = {}
        self._entries: dict[Path, int] = {}
        """How many [[entries]] each list of tables has so far."""

    def document(self) -> dict[Path, int]:
        table: Path = ()
        while self._skip():
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)
        return self._lines

    def _skip(self) -> bool:
        """Pass blanks, line ends and comments; False at the end of the document."""
        match = _TRIVIA.match(self._text, self._at)
        self._at = match.end() if match else self._at
        return self._at < len(self._text)

    def _take(self, sign: str) -> bool:
        """Pass `sign` where it comes next."""
        if self._skip() and self._text.startswith(sign, self._at):
            self._at += len(sign)
            return True
        return False

    def _mark(self, path: Path, at: int) -> None:
        self._lines.setdefault(path[:DEEPEST], bisect_right(self._starts, at))

    def _mark_all(self, path: Path, known: int, at: int) -> None:
        """Mark every part of `path` past the first `known`."""
        for length in range(known + 1, min(len(path), DEEPEST) + 1):
            self._mark(path[:length], at)

    def _key(self) -> list[str]:
        parts: list[str] = []
        while True:
            match = _KEY.match(self._text, self._at)
            if match is None:
                raise ValueError(f"no key at {self._at}: the document is no valid TOML")
            self._at = match.end()
            raw = match[1]
            parts.append(tomllib.loads(f"key = {raw}")["key"] if raw[0] in "\"'" else raw)
            if not self._text.startswith(".", self._at):
                return parts
            self._at += 1

    def _header(self) -> Path:
        start = self._at
        is_entry = self._text.startswith("[[", start)
        self._at += 2 if is_entry else 1
        *outer, last = self._key()
        self._at += 2 if is_entry else 1
        path: Path = ()
        for part in outer:
            path = self._latest((*path, part)[:DEEPEST])
        path = (*path, last)[:DEEPEST]
        if is_entry:
            self._entries[path] = self._entries.get(path, 0) + 1
            self._mark(path, start)
            path = self._latest(path)
        self._mark_all(path, 0, start)
        return path

    def _latest(self, path: Path) -> Path:
        """`path`, or its latest entry where it is a list of tables."""
        return (*path, self._entries[path] - 1) if path in self._entries else path

    def _pair(self, table: Path) -> None:
        start = self._at
        path = (*table, *self._key())
        self._mark_all(path, len(table), start)
        self._at += 1  # the equals sign
        self._skip()
        self._value(path[:DEEPEST])

    def _value(self, path: Path) -> None:
        if self._take("["):
            index = 0
            while not self._take("]"):
                self._mark((*path, index), self._at)
                self._value((*path, index)[:DEEPEST])
                self._take(",")
                index += 1
        elif self._take("{"):
            while not self._take("}"):
                self._pair(path)
                self._take(",")
        else:
            match = _VALUE.match(self._text, self._at)
            if match is None:
                raise ValueError(f"no value at {self._at}: the document is no valid TOML")
            self._at = match.end()

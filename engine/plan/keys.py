"""What a plan may hold: every key, its type and its range, and what tracks must not share."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from typing import Any, Final

from engine.model.alarm_limits import LIMITS, Limit, Value
from engine.model.batteries import lasts_s, time_of_day_s
from engine.model.messages import Kind, PackLevel
from engine.model.safe_text import harmless, is_harmless
from engine.model.tracks import BY_HAND, BY_TIMECODE, Plan, Track
from engine.plan.toml_lines import Path

FRAME_RATES: Final = ("23.976", "24", "25", "29.97", "29.97df", "30")
LONGEST_TEXT: Final = 200

_SUGGEST_AT_MOST: Final = 100
_NO_INPUT: Final = 0


@dataclass(frozen=True, slots=True)
class PlanMistake:
    """One mistake: its line (0: the whole file), its key as a dotted name, and what is allowed."""

    line: int
    key: str
    message: str

    def __str__(self) -> str:
        where = f"line {self.line}: " if self.line else ""
        return where + (f"{self.key}: " if self.key else "") + self.message


def check(
    document: Mapping[str, Any], lines: Mapping[Path, int], inputs: int | None
) -> tuple[Plan, list[PlanMistake]]:
    """The plan that a parsed document holds, and its mistakes; with any, the plan is no use.

    `lines` gives the line of each key and table; `inputs` is how many the source has, if known.
    """
    checker = _Checker(lines, inputs)
    return checker.plan(document), checker.mistakes


class _WrongError(Exception):
    """A value that is refused; says what is allowed."""


class _Checker:
    def __init__(self, lines: Mapping[Path, int], inputs: int | None) -> None:
        self._lines = lines
        self._inputs = inputs
        self.mistakes: list[PlanMistake] = []

    def plan(self, document: Mapping[str, Any]) -> Plan:
        self._known((), document, ("take", "track", "limits"), "a plan")
        take = self._table(("take",), document.get("take", {}))
        self._known(("take",), take, _TAKE, "[take]")
        kind_limits = self._limits_by_kind(document.get("limits", {}))
        tracks = self._tracks(document.get("track", []), kind_limits)
        self._across(tracks)
        if take.get("rolling") == BY_TIMECODE and Kind.TIMECODE not in {t.kind for t in tracks}:
            self._wrong(("take", "rolling"), 'needs a track of kind = "timecode" that tells it')
        ordered = sorted(tracks, key=lambda track: track.input)
        values = self._values(("take",), take, _TAKE)
        return Plan(tuple(ordered), stated_rate=values.get("frame_rate", ""), **values)

    def _wrong(self, path: Path, message: str) -> None:
        key = ".".join(_shown(part) for part in path if isinstance(part, str))
        self.mistakes.append(PlanMistake(self._lines.get(path, 1), key, message))

    def _known(
        self, path: Path, table: Mapping[str, Any], allowed: Iterable[str], where: str
    ) -> None:
        names = tuple(allowed)
        for key in table:
            if key not in names:
                hint = self._suggestion(key, names)
                text = f"not a key of {where}{hint}; allowed: {', '.join(names)}"
                self._wrong((*path, key), text)

    def _suggestion(self, given: str, names: Sequence[str]) -> str:
        if len(self.mistakes) > _SUGGEST_AT_MOST or len(given) > LONGEST_TEXT:
            return ""  # a file of nothing but mistakes must not take seconds
        close = _nearest(given, names)
        return f', did you mean "{close}"?' if close else ""

    def _table(self, path: Path, value: Any) -> Mapping[str, Any]:
        if isinstance(value, dict):
            return value
        name = ".".join(part for part in path if isinstance(part, str))
        self._wrong(path, f"must be a table: a line [{name}] with its keys below")
        return {}

    def _values(
        self, path: Path, table: Mapping[str, Any], fields: Mapping[str, Callable[[Any], Any]]
    ) -> dict[str, Any]:
        """The values of `table` that are right; the others are noted."""
        right = {}
        for key, read in fields.items():
            if key in table:
                try:
                    right[key] = read(table[key])
                except _WrongError as wrong:
                    self._wrong((*path, key), str(wrong))
        return right

    def _limits_by_kind(self, given: Any) -> dict[Kind, Mapping[str, Value]]:
        by_kind = self._table(("limits",), given)
        kinds = [kind.value for kind in Kind]
        self._known(("limits",), by_kind, kinds, "[limits], which has one table a kind")
        return {
            Kind(kind): self._limits(("limits", kind), by_kind[kind])
            for kind in kinds
            if kind in by_kind
        }

    def _limits(self, path: Path, given: Any) -> dict[str, Value]:
        table = self._table(path, given)
        self._known(path, table, LIMITS, "limits")
        values: dict[str, Value] = self._values(path, table, _LIMITS)
        for name, amber in values.items():
            red_name = name.replace("_amber_s", "_red_s")
            red = values.get(red_name)
            # A red delay is never after itself, so a name without "_amber_s" passes.
            if isinstance(amber, float) and isinstance(red, float) and amber > red:
                text = f"amber must not come after red: at most {red:g}, the {red_name} here"
                self._wrong((*path, name), text)
        return values

    def _tracks(self, given: Any, kind_limits: Mapping[Kind, Mapping[str, Value]]) -> list[Track]:
        """The tracks in the file's order; one without a right input has `_NO_INPUT`."""
        if not isinstance(given, list):
            self._wrong(
                ("track",), "each track is a table of its own: write [[track]], not [track]"
            )
            return []
        if not given:
            self._wrong(("track",), "a plan needs a track: [[track]] and below it input = 1")
        tracks_read = []
        for n, entry in enumerate(given):
            path: Path = ("track", n)
            table = self._table(path, entry)
            self._known(path, table, (*_TRACK, "input", "limits"), "[[track]]")
            own = self._limits((*path, "limits"), table.get("limits", {}))
            values = self._values(path, table, {**_TRACK, "input": self._input})
            if "input" not in table and isinstance(entry, dict):
                self._wrong(path, "input is missing: every track needs input = its number, from 1")
            if "who" in table and "who" not in values:
                values.pop("level", None)  # whose pack it is cannot be told: one mistake, not two
            track = Track(limits=own, **{"input": _NO_INPUT, **values})
            planned = track != Track(track.input, track.name) or track.name not in (
                "",
                f"Track {track.input}",
            )
            tracks_read.append(
                replace(track, kind_limits=kind_limits.get(track.kind, {}), planned=planned)
            )
        return tracks_read

    def _input(self, value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise _WrongError("must be a whole number, from 1")
        if value < 1:
            raise _WrongError("inputs are counted from 1")
        if self._inputs is not None and value > self._inputs:
            raise _WrongError(f"the source has no such input; allowed: 1 to {self._inputs}")
        return value

    def _across(self, tracks: Sequence[Track]) -> None:
        """What only shows when tracks are compared."""
        inputs: dict[int, int] = {}
        packs: dict[tuple[str, PackLevel], int] = {}
        for n, track in enumerate(tracks):
            path: Path = ("track", n)
            first = inputs.setdefault(track.input, n)
            if first != n and track.input != _NO_INPUT:
                line = self._lines.get(("track", first, "input"), 0)
                self._wrong((*path, "input"), f"taken by line {line}; one track an input")
            if track.level is None:
                continue
            if not track.who:
                text = "needs a who: main and safety are the two packs of one performer"
                self._wrong((*path, "level"), text)
                continue
            first = packs.setdefault((track.who, track.level), n)
            if first != n:
                line = self._lines.get(("track", first, "level"), 0)
                text = f'"{track.who}" has a {track.level} already, on line {line}; allowed: one'
                self._wrong((*path, "level"), text)


def _shown(text: str) -> str:
    """A key as it can be printed: harmless, and not endless."""
    clean = harmless(text)
    return clean if len(clean) <= 60 else clean[:59] + "…"


def _text(value: Any) -> str:
    """A short text of one line, in the one form in which equal texts are equal."""
    if not isinstance(value, str):
        raise _WrongError('must be text in double quotes: "…"')
    if len(value) > LONGEST_TEXT:
        raise _WrongError(f"at most {LONGEST_TEXT} characters")
    if not all(map(is_harmless, value)):
        raise _WrongError("no line breaks, control characters or marks that turn the text around")
    if value != value.strip():
        raise _WrongError("no blank at its beginning or end")
    return unicodedata.normalize("NFC", value)


def _date(value: Any) -> str:
    """A date as TOML has it (2026-05-01, no quotes), or any text: a night has two."""
    return value.isoformat() if type(value) is date else _text(value)


def _battery(value: Any) -> str:
    text = _text(value)
    if text and lasts_s(text) is None:
        raise _WrongError('a time such as "4h", "3h30" or "90min"')
    return text


def _time_of_day(value: Any) -> str:
    if isinstance(value, time):
        return value.strftime("%H:%M")
    text = _text(value)
    if text and time_of_day_s(text) is None:
        raise _WrongError('a time of day such as "23:30"')
    return text


def _nearest(given: str, words: Sequence[str]) -> str:
    """The word most like it; "" where none is."""
    import difflib  # nearly every plan does without

    return next(iter(difflib.get_close_matches(given.lower(), words, n=1)), "")


def _one_of(*words: str) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if isinstance(value, str) and value in words:
            return value
        close = _nearest(str(value)[:LONGEST_TEXT], words)
        hint = f'did you mean "{close}"? ' if close else ""
        raise _WrongError(f"{hint}allowed, in double quotes: {', '.join(words)}")

    return read


def _limit(limit: Limit) -> Callable[[Any], Value]:
    if limit.is_switch:
        return _one_of("on", "off")
    allowed = f"allowed: a number from {limit.range} ({limit.unit})"

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise _WrongError(allowed)
        try:
            number = float(value)
        except OverflowError:
            raise _WrongError(allowed) from None
        if not limit.allows(number):
            raise _WrongError(allowed)
        return number

    return read


_TAKE: Final[Mapping[str, Callable[[Any], Any]]] = {
    "title": _text,
    "frame_rate": _one_of(*FRAME_RATES),
    "rolling": _one_of(BY_HAND, BY_TIMECODE),
    "production": _text,
    "date": _date,
    "mixer": _text,
    "location": _text,
    "ends": _time_of_day,
}
_TRACK: Final[Mapping[str, Callable[[Any], Any]]] = {
    "name": _text,
    "kind": lambda value: Kind(_one_of(*Kind)(value)),
    "who": _text,
    "level": lambda value: PackLevel(_one_of(*PackLevel)(value)),
    "pack": _text,
    "placement": _text,
    "receiver": _text,
    "battery": _battery,
}
_LIMITS: Final = {name: _limit(limit) for name, limit in LIMITS.items()}

"""Where the words of the glance view stand, and how large they are: as large as fits.

Sizes go by the angle that capitals subtend at the distance of the reader; see
`app/style/viewing_distance.py`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from PySide6.QtCore import QPoint, QRect
from PySide6.QtGui import QFont, QFontMetrics, QFontMetricsF

from app.models.glance_lines import Entry
from app.style import theme, viewing_distance
from app.views.board import row_text
from engine.model.messages import Severity

ANGLES_ARCMIN = (34.0, 30.0, 27.0, 24.0, 22.0, 20.0, 18.0, viewing_distance.LEAST_ARCMIN)
"""Tried from large to small; the last one is the least that can be read."""
LARGER = 1.3
"""Numbers, names and times over all other words."""
WRAPS = 3
LINE = 0.94
"""Of a font's own line height: accents and descenders seldom meet, and room is scarce."""


class Detail(IntEnum):
    """How much of an entry is shown."""

    BRIEF = 0
    LINE = 1
    SHORT = 2
    FULL = 3


@dataclass(frozen=True, slots=True)
class Letters:
    """The fonts at one angle; `small_px` is the height of the small capitals."""

    small: QFont
    bold: QFont
    big: QFont
    small_px: float

    @classmethod
    def of(cls, small_px: float, most_px: float) -> Letters:
        """Fonts whose small capitals are that high, the big ones at most `most_px`."""
        name = theme.family()
        share = QFontMetricsF(theme.font(200, name=name)).capHeight() / 200
        big_px = max(min(small_px * LARGER, most_px), small_px)
        # Sizes are whole pixels: up, so that no letter falls short of its angle.
        small, big = math.ceil(small_px / share), math.ceil(big_px / share)
        return cls(
            theme.font(small, name=name),
            theme.font(small, True, name),
            theme.font(big, True, name),
            small_px,
        )


@dataclass(frozen=True, slots=True)
class Words:
    """Words in their box; `tone` is severity, ink or dim."""

    box: QRect
    text: str
    font: QFont
    tone: str = "ink"


@dataclass(frozen=True, slots=True)
class Panel:
    """One entry, laid out; `whole` when no word was cut."""

    height: int
    severity: Severity
    words: tuple[Words, ...]
    whole: bool
    bar: int
    unseen: bool = True
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Fitted:
    """What fits: panels, how many entries do not, and how far off it can be read."""

    panels: tuple[Panel, ...]
    more: int
    letters: Letters
    readable_m: float


class _Pen:
    """Puts words below each other inside a column."""

    def __init__(self, x: int, y: int, width: int) -> None:
        self.x, self.y, self.width = x, y, width
        self.words: list[Words] = []
        self.whole = True

    def line(self, text: str, font: QFont, tone: str = "ink", right: bool = False) -> None:
        """One line, cut where it is too long; goes on to the next."""
        metrics = QFontMetrics(font)
        shown = row_text.cut(font, text, self.width)
        self.whole &= shown == text
        wide = metrics.horizontalAdvance(shown)
        x = self.x + (self.width - wide if right else 0)
        self.words.append(Words(QRect(x, self.y, wide + 2, metrics.height()), shown, font, tone))
        self.y += round(metrics.height() * LINE)

    def lines(self, text: str, font: QFont, tone: str = "ink") -> None:
        """As many lines as it takes, up to a bound."""
        made = wrap(font, text, self.width)
        self.whole &= len(made) <= WRAPS
        for one in made[:WRAPS]:
            self.line(one, font, tone)


def wrap(font: QFont, text: str, width: int) -> list[str]:
    """The text in lines no wider than that: broken at its dots, within those between words."""
    metrics, lines = QFontMetrics(font), [""]

    def takes(words: str) -> bool:
        return metrics.horizontalAdvance(words) <= width

    for part in text.split(" · "):
        longer = " · ".join(filter(None, (lines[-1], part)))
        if takes(longer):
            lines[-1] = longer
            continue
        lines.append("")
        for word in part.split():
            longer = f"{lines[-1]} {word}".strip()
            if not lines[-1] or takes(longer):
                lines[-1] = longer
            else:
                lines.append(word)
    return [line for line in lines if line]


def compose(entry: Entry, width: int, letters: Letters, detail: Detail) -> Panel:
    """One entry at that width."""
    pad = round(letters.small_px * 0.4)
    bar = max(8, round(letters.small_px * 0.6))
    inner = QRect(bar + pad, pad, width - bar - 2 * pad, 0)
    wide = _wide(entry, inner, letters, detail)
    words, bottom, whole = wide or _stacked(entry, inner, letters, detail)
    return Panel(
        bottom + pad, entry.severity, tuple(words), whole, bar, entry.unseen, entry.uncovered
    )


Laid = tuple[list[Words], int, bool]


def _details(pen: _Pen, entry: Entry, letters: Letters, detail: Detail) -> None:
    if entry.uncovered:
        pen.line("NO BACKUP", letters.bold, "severity")
    shown: tuple[str, ...] = ()
    if detail is Detail.FULL:
        shown = (entry.where, entry.check)
    elif detail is Detail.SHORT:
        shown = (entry.where_short, entry.check_short)
    elif detail is Detail.LINE:
        lines = (entry.line, entry.check_short, entry.where_short)
        shown = tuple(t for t in lines if t and _fits(letters.small, t, pen.width))[:1]
    for text in (*shown, entry.note if detail >= Detail.SHORT else ""):
        if text:
            pen.lines(text, letters.small)


def _wide(entry: Entry, inner: QRect, letters: Letters, detail: Detail) -> Laid | None:
    """Number, name and details, fault and time side by side; None where there is no room."""
    big, bold = QFontMetrics(letters.big), QFontMetrics(letters.bold)
    gap = big.horizontalAdvance("0")
    left = big.horizontalAdvance(entry.numbers)
    right = max(bold.horizontalAdvance(entry.fault), big.horizontalAdvance(entry.time)) + 2
    middle = inner.width() - left - right - 2 * gap
    if middle < max(big.horizontalAdvance(entry.name), inner.width() // 2):
        return None
    pens = [
        _Pen(inner.x(), inner.y(), left + 2),
        _Pen(inner.x() + left + gap, inner.y(), middle),
        _Pen(inner.right() + 1 - right, inner.y(), right),
    ]
    pens[0].line(entry.numbers, letters.big, "severity")
    pens[1].line(entry.name, letters.big)
    _details(pens[1], entry, letters, detail)
    pens[2].line(entry.fault, letters.bold, "severity", right=True)
    pens[2].line(entry.time, letters.big, right=True)
    words = [w for pen in pens for w in pen.words]
    return words, max(pen.y for pen in pens), all(pen.whole for pen in pens)


def _stacked(entry: Entry, inner: QRect, letters: Letters, detail: Detail) -> Laid:
    """Number, name and time in one line, all else below; a name too long for that has its own."""
    big = QFontMetrics(letters.big)
    gap = big.horizontalAdvance("0") // 2
    left, right = big.horizontalAdvance(entry.numbers), big.horizontalAdvance(entry.time)
    middle = inner.width() - left - right - 2 * gap - 4
    number = _Pen(inner.x(), inner.y(), left + 2)
    name = _Pen(inner.x() + left + gap, inner.y(), middle)
    time = _Pen(inner.right() - right - 1, inner.y(), right + 2)
    number.line(entry.numbers, letters.big, "severity")
    time.line(entry.time, letters.big, right=True)
    below = _Pen(inner.x(), number.y, inner.width())
    beside = [f for f in (letters.big, letters.bold) if _fits(f, entry.name, middle)]
    (name if beside else below).line(entry.name, beside[0] if beside else letters.bold)
    fault = f"{entry.fault} · NO BACKUP" if entry.uncovered else entry.fault
    below.line(fault, letters.bold, "severity")
    _details(below, replace(entry, uncovered=False), letters, detail)
    pens = (number, name, time, below)
    return [w for pen in pens for w in pen.words], below.y, all(pen.whole for pen in pens)


def _fits(font: QFont, text: str, width: int) -> bool:
    return QFontMetrics(font).horizontalAdvance(text) <= width


def _height(panels: Sequence[Panel], gap: int) -> int:
    return sum(p.height for p in panels) + gap * max(0, len(panels) - 1)


def fit(
    entries: Sequence[Entry], room: QPoint, px_per_mm: float, distance_m: float, gap: int
) -> Fitted:
    """The largest letters with which all entries fit into `room` (width, height).

    Where they don't even at the least angle, as many as fit, the first at least in short; where
    not even that one does, letters smaller than that, and `readable_m` says from how far.
    """
    width, height = room.x(), room.y()
    most = viewing_distance.capital_mm(distance_m, viewing_distance.MOST_ARCMIN) * px_per_mm
    for arcmin in ANGLES_ARCMIN:
        small_px = viewing_distance.capital_mm(distance_m, arcmin) * px_per_mm
        letters = Letters.of(small_px, most)
        panels = [compose(e, width, letters, Detail.FULL) for e in entries]
        if all(p.whole for p in panels) and _height(panels, gap) <= height:
            return _fitted(panels, 0, letters, px_per_mm)
    while True:
        panels = _most_of(entries, width, height, letters, gap)
        if panels or small_px < 6:
            return _fitted(panels, len(entries) - len(panels), letters, px_per_mm)
        small_px *= 0.9
        letters = Letters.of(small_px, most)


def _fitted(panels: list[Panel], more: int, letters: Letters, px_per_mm: float) -> Fitted:
    readable_m = viewing_distance.distance_m(letters.small_px / px_per_mm)
    return Fitted(tuple(panels), more, letters, readable_m)


def _most_of(
    entries: Sequence[Entry], width: int, height: int, letters: Letters, gap: int
) -> list[Panel]:
    """As many as fit at that size: the first at least in short, the others with what there is
    room for; none where not even the first fits."""
    first = compose(entries[0], width, letters, Detail.SHORT)
    if not first.whole or first.height > height:
        return []
    shown = [first]
    for entry in entries[1:]:
        panel = compose(entry, width, letters, Detail.BRIEF)
        if _height([*shown, panel], gap) > height:
            break
        shown.append(panel)
    for detail in (Detail.LINE, Detail.SHORT, Detail.FULL):
        for place in range(len(shown)):
            panel = compose(entries[place], width, letters, detail)
            richer = [*shown[:place], panel, *shown[place + 1 :]]
            if panel.whole and _height(richer, gap) <= height:
                shown = richer
    return shown

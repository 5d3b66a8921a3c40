"""Which text stands where in a row and in a group's heading, in which font."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetrics

from app.models.board_rows import GroupState, RowState
from app.style import theme
from app.style.theme import Look
from app.views.board.board_layout import Box, GroupBoxes, RowBoxes, Widths
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import Scope
from engine.model.messages import Severity
from engine.model.tracks import Track

_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
_MIDDLE = Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignVCenter


_ROW_WORDS = ("nothing yet", *(rule.word for rule in FAULTS if rule.scope is Scope.TRACK))
"""What stands in the state cell of a row whole, in smaller letters where it must."""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text in its box, already cut to fit."""

    box: QRect
    words: str
    font: QFont
    colour: str
    align: Qt.AlignmentFlag = _LEFT


@dataclass(frozen=True, slots=True)
class Fonts:
    """The fonts of a board whose rows have that height."""

    name: QFont
    bold: QFont
    small: QFont
    small_bold: QFont
    number: QFont
    level: QFont
    dense: bool
    scale: float

    @classmethod
    def of(cls, row_h: int, scale: float, dense: bool) -> Fonts:
        """Sizes by row height, never larger than the scale asks."""
        made = theme.family()
        if dense:
            px = min(13 * scale, row_h * 0.64)
            small, number = px * 0.94, px
        else:
            px = min(15 * scale, row_h * 0.34)
            small, number = min(12 * scale, row_h * 0.28), min(18 * scale, row_h * 0.42)
        return cls(
            name=theme.font(px, name=made),
            bold=theme.font(px, True, made),
            small=theme.font(small, name=made),
            small_bold=theme.font(small, True, made),
            number=theme.font(number, True, made),
            level=theme.font(px, name=made),
            dense=dense,
            scale=scale,
        )

    def mark_px(self, row_h: int) -> int:
        """Side of a state's shape."""
        return min(round(20 * self.scale), round(row_h * (0.7 if self.dense else 0.42)))


def advance(font: QFont, words: str) -> int:
    """Width of the words in pixels."""
    return QFontMetrics(font).horizontalAdvance(words)


def cut(font: QFont, words: str, width: int, middle: bool = False) -> str:
    """The words, shortened with an ellipsis where the width asks for it.

    `middle`: keep both ends, since names that begin alike differ in their last word or number.
    """
    where = Qt.TextElideMode.ElideMiddle if middle else Qt.TextElideMode.ElideRight
    return QFontMetrics(font).elidedText(words, where, max(0, width))


def widths(
    fonts: Fonts,
    row_h: int,
    columns: int,
    names: Sequence[str],
    headings: Sequence[str],
    digits: int = 3,
) -> Widths:
    """What the cells of a board ask for; names and headings may be cut beyond a bound."""
    one = columns == 1
    s = fonts.scale
    pad = round(10 * s) if one else round(6 * s)
    widest = max((advance(fonts.name, n) for n in names), default=0)
    low, high = (176, 230) if one else (92, 150)
    heading = max((advance(fonts.bold, h) for h in headings if h), default=0)
    if heading:
        under = max(advance(fonts.small_bold, words) for words in ("backup 64", "NO BACKUP"))
        heading = max(heading, under + 4) + 2 * pad
        heading = min(heading, round((150 if one else 100) * s))
    state = advance(fonts.bold, "out of service") + fonts.mark_px(row_h) + 2 * pad
    if fonts.dense:
        state = advance(fonts.bold, "samples lost ") + fonts.mark_px(row_h) + 2 * pad
    else:
        beside = fonts.mark_px(row_h) + round(16 * s) + 3  # see `state_texts`
        state = max(state, advance(fonts.small, "00:00 · backup 64") + beside)
    beside = fonts.mark_px(row_h) + round(16 * s) + 3
    least = max(advance(fonts.small_bold, word) for word in _ROW_WORDS) + beside
    return Widths(
        heading=heading,
        number=advance(fonts.number, "0" * digits) + round((14 if one else 10) * s),
        name=min(max(widest + pad, round(low * s)), round(high * s)),
        level=advance(fonts.level, "−60") + round(6 * s),
        state=state,
        name_least=round((150 if one else 92) * s),
        state_least=min(state, least),
    )


def _rect(box: Box) -> QRect:
    return QRect(box.x, box.y, box.w, box.h)


def _pair(box: QRect, upper: QFont, lower: QFont) -> tuple[QRect, QRect]:
    """Two lines of text, one above the other, in the middle of the box's height."""
    first, second = QFontMetrics(upper).height(), QFontMetrics(lower).height()
    top = box.y() + max(0, (box.height() - first - second) // 2)
    return (
        QRect(box.x(), top, box.width(), first),
        QRect(box.x(), top + first, box.width(), second),
    )


def track_note(track: Track) -> str:
    """'pack 7 · under the apron'; where there is neither, the receiver."""
    pack = f"pack {track.pack}" if track.pack else ""
    receiver = f"receiver {track.receiver}" if track.receiver and not pack else ""
    return " · ".join(part for part in (pack, track.placement, receiver) if part)


def name_texts(
    boxes: RowBoxes, track: Track, state: RowState, fonts: Fonts, look: Look
) -> list[Text]:
    """Number, name and what is known of the pack."""
    colour = look.colour(state.severity)
    made = [Text(_rect(boxes.number), str(track.input), fonts.number, colour, _MIDDLE)]
    box, note = _rect(boxes.name), track_note(track)
    if fonts.dense or not note:
        name = _name(track, fonts, box.width())
        made.append(Text(box, name, fonts.name, look.ink))
        used = advance(fonts.name, name + "  ")
        rest = QRect(box.x() + used, box.y(), box.width() - used, box.height())
        if note and rest.width() > advance(fonts.small, "pack 00"):
            made.append(Text(rest, cut(fonts.small, note, rest.width()), fonts.small, look.dim))
        return made
    upper, lower = _pair(box, fonts.name, fonts.small)
    name = _name(track, fonts, box.width())
    made.append(Text(upper, name, fonts.name, look.ink))
    made.append(Text(lower, cut(fonts.small, note, box.width()), fonts.small, look.dim))
    return made


def _name(track: Track, fonts: Fonts, width: int) -> str:
    """The track's name; where it is too long, without what the group's heading says already."""
    label = track.label
    if track.who and label.startswith(f"{track.who} ") and advance(fonts.name, label) > width:
        label = label[len(track.who) + 1 :]
    return cut(fonts.name, label, width, middle=True)


def mark_box(boxes: RowBoxes, fonts: Fonts) -> QRectF:
    """Where the state's shape stands."""
    side = fonts.mark_px(boxes.row.h)
    box = boxes.state
    pad = round((4 if fonts.dense else 8) * fonts.scale)
    return QRectF(box.x + pad, box.y + (box.h - side) / 2, side, side)


def state_colour(state: RowState, look: Look) -> str:
    """Colour of what stands in the state cell."""
    if state.severity is Severity.RED and state.unseen:
        return look.on_alarm
    return look.colour(state.severity)


def state_texts(boxes: RowBoxes, state: RowState, fonts: Fonts, look: Look) -> list[Text]:
    """The state's word and its note."""
    mark = mark_box(boxes, fonts)
    left = round(mark.right() + (4 if fonts.dense else 8) * fonts.scale)
    box = QRect(left, boxes.state.y, boxes.state.right - left - 2, boxes.state.h)
    colour = state_colour(state, look)
    font = fonts.bold if state.severity else fonts.name
    if advance(font, state.word) > box.width():
        font = fonts.small_bold if state.severity else fonts.small
    if state.note and not fonts.dense:
        upper, lower = _pair(box, font, fonts.small)
        return [
            Text(upper, cut(font, state.word, box.width()), font, colour),
            Text(lower, _whole_parts(state.note, fonts, box.width()), fonts.small, colour),
        ]
    made = [Text(box, cut(font, state.word, box.width()), font, colour)]
    used = advance(font, state.word + " ")
    rest = QRect(box.x() + used, box.y(), box.width() - used, box.height())
    note = _whole_parts(state.note, fonts, rest.width())
    if note:
        made.append(Text(rest, note, fonts.small, colour))
    return made


def _whole_parts(note: str, fonts: Fonts, width: int) -> str:
    """As many parts of a note as have room, the first ones; none is cut."""
    parts = note.split(" · ")
    while parts and advance(fonts.small, " · ".join(parts)) > width:
        parts.pop()
    return " · ".join(parts)


def heading_texts(
    boxes: GroupBoxes, name: str, state: GroupState, fonts: Fonts, look: Look
) -> list[Text]:
    """The group's name and, under it, whether it is covered."""
    pad = round((6 if fonts.dense else 10) * fonts.scale)
    box = _rect(boxes.heading).adjusted(pad, 0, -2, 0)
    if box.width() <= 0:
        return []
    under, colour = "", look.dim
    if state.uncovered:
        under, colour = "NO BACKUP", look.on_alarm
        if state.heard_on is not None:
            under = f"heard on {state.heard_on}"
    elif state.covered_by is not None:
        under, colour = f"backup {state.covered_by}", look.cover
    small = fonts.small_bold
    room = QFontMetrics(fonts.bold).height() + QFontMetrics(small).height()
    if not under or room > box.height():
        shown = look.on_alarm if state.uncovered else look.ink
        return [Text(box, cut(fonts.bold, name, box.width(), middle=True), fonts.bold, shown)]
    if advance(small, under) > box.width():
        under = under.replace("covered ", "")
    upper, lower = _pair(box, fonts.bold, small)
    return [
        Text(
            upper,
            cut(fonts.bold, name, box.width(), middle=True),
            fonts.bold,
            look.on_alarm if state.uncovered else look.ink,
        ),
        Text(lower, cut(small, under, box.width()), small, colour),
    ]

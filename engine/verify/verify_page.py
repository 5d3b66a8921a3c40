"""The result on one sheet: one large word, what to do, then the session against its takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from engine.report.content.words import length
from engine.report.layout.blocks import (
    Block,
    Cell,
    Column,
    Facts,
    Heading,
    Pictures,
    Table,
    Text,
    Tone,
)
from engine.report.layout.drawing import Box, Drawing, Shape, Words, hatched
from engine.report.layout.palette import BREAK_GROUND, COVER, DIM, INK, LINE, RED, RED_GROUND
from engine.verify.result import Difference, Finding, TakeResult, Verification

_WIDTH: Final = 720.0
_LEFT: Final = 128.0
_TOP: Final = 22.0
_ROW: Final = 16.0
_MOST: Final = 10
_MOST_TAKES: Final = 8
_PICTURE: Final = 340.0
"""On one sheet: lines of a table, takes, height of the rows of the picture; measured on A4 and
Letter, see the test."""

TO_DO: Final[Mapping[Difference, str]] = {
    Difference.NOT_TAKEN: "look for the missing take on every card before anyone goes home",
    Difference.NOT_RECORDED: "arm the track; look for it on another recorder or card",
    Difference.OTHER_CHANNEL: "rename or move the channel before it goes to post",
    Difference.DOUBLED: "mend the routing; look for the lost mic on another recorder",
    Difference.OTHER_MIC: "listen to the channel: is it the planned mic?",
    Difference.GAIN: "tell post, or mend the trim",
    Difference.FAULT_IN_FILE: "check the recorder's input and routing; use a copy if there is one",
    Difference.GAP: "look at the card and the recorder's buffer; tell post",
    Difference.REPEAT: "look at the card and the recorder's buffer; tell post",
    Difference.TIMECODE: "re-jam the recorder, and tell post the offset",
    Difference.SAMPLE_RATE: "correct the rate in the header before it goes to post",
    Difference.NOT_IN_SESSION: "is it the right card, or the right session?",
    Difference.UNFINISHED: "copy the card again; let the recorder repair the file",
    Difference.UNLIKE_ITS_FELLOWS: "check the recorder's settings",
    Difference.NAMES: "correct the names before they go to post",
    Difference.COPY: "copy it again, and check again",
}


def heading(result: Verification) -> str:
    """The one large word."""
    return "Complete" if result.complete else "Not complete"


def blocks(result: Verification, *, one_sheet: bool = False) -> Iterator[Block]:
    """The page; with `one_sheet` so much of it as one sheet of paper holds, and how much more."""
    most = _MOST if one_sheet else len(result.all_findings) + len(result.failed) + 1
    yield Heading(heading(result), 1)
    yield Text(summary(result), Tone.GOOD if result.complete else Tone.BAD)
    if result.coarse:
        yield Text(
            "The session is of an older version: takes are placed to about a second.", Tone.DIM
        )
    yield Facts((("session", result.title or result.session), ("takes", str(len(result.takes)))))
    wrong = [f for f in result.all_findings if f.is_wrong]
    if wrong or result.failed:
        yield Heading("What to do", 2)
        yield from _listed(result, wrong, most)
        for path, reason in result.failed[:most]:
            yield Text(f"{_name(path) if one_sheet else path}: {reason}", Tone.BAD)
    if result.rolling and result.tracks:
        yield Pictures((_picture(result, _PICTURE if one_sheet else None),))
    known = [f for f in result.all_findings if not f.is_wrong]
    if known:
        yield Heading("Worth knowing", 2)
        yield from _listed(result, known, most // 4)
    if result.takes and (not one_sheet or len(result.takes) <= _MOST_TAKES):
        yield Heading("Takes", 2)
        yield _takes(result)
    yield Text("It compares levels: listen before you cut, and keep every card.", Tone.DIM)


def _listed(result: Verification, findings: Sequence[Finding], most: int) -> Iterator[Block]:
    """The first of them in a table, and how many there are besides."""
    most = max(most, 1)
    if findings:
        yield _table(result, findings[:most])
    if len(findings) > most:
        yield Text(f"And {len(findings) - most} more: see the window, --html or --json.", Tone.DIM)


def summary(result: Verification) -> str:
    """One line under the word."""
    wrong = sum(f.is_wrong for f in result.all_findings) + len(result.failed)
    if result.complete:
        return "Every stretch that was rolling has a take, and every take has what was heard."
    return f"{wrong} {'thing is' if wrong == 1 else 'things are'} missing or differ."


def _table(result: Verification, findings: Iterable[Finding]) -> Table:
    columns = (
        *(Column("take", 0.18), Column("from", 0.12), Column("to", 0.12)),
        *(Column("what", 0.34), Column("do", 0.24)),
    )
    return Table(
        columns,
        tuple(
            (
                Cell(_name(f.take)),
                Cell(result.label(f.from_s) or ""),
                Cell(result.label(f.until_s) or ""),
                Cell(f.text, bold=f.is_wrong),
                Cell(TO_DO.get(f.what, "")),
            )
            for f in findings
        ),
    )


def _takes(result: Verification) -> Table:
    columns = (
        *(Column("take", 0.34), Column("from", 0.16), Column("to", 0.16)),
        *(Column("length", 0.14, right=True), Column("clock", 0.2, right=True)),
    )
    return Table(columns, tuple(_take_row(result, take) for take in result.takes))


def _take_row(result: Verification, take: TakeResult) -> tuple[Cell, ...]:
    span = take.span_s or (None, None)
    ppm = take.course.ppm if take.course is not None else None
    return (
        Cell(_name(take.path)),
        Cell(result.label(span[0]) or "not in the session"),
        Cell(result.label(span[1]) or ""),
        Cell(length(take.scan.duration_s)),
        Cell("" if ppm is None else f"{ppm:+.0f} ppm"),
    )


def _name(path: str | None) -> str:
    return "" if path is None else path.replace("\\", "/").rstrip("/").rpartition("/")[2]


def _picture(result: Verification, most_high: float | None) -> Drawing:
    """Session against takes: a row a track; what is missing is hatched in red."""
    row = _ROW if most_high is None else min(_ROW, most_high / len(result.tracks))
    end_s = max(end for _, end in result.rolling)
    scale = (_WIDTH - _LEFT) / max(end_s, 1e-9)
    bottom = _TOP + row * len(result.tracks)
    shapes: list[Shape] = [
        Box(_LEFT + a * scale, _TOP, (b - a) * scale, bottom - _TOP, BREAK_GROUND)
        for a, b in result.rolling
    ]
    for take in result.takes:
        if take.span_s is not None:
            x = _LEFT + max(take.span_s[0], 0.0) * scale
            shapes.append(Words(x + 2.0, _TOP - 6.0, _name(take.path)[:18], 8.5, DIM))
            shapes += _take_boxes(result, take, scale, row)
    for finding in result.findings:
        if finding.from_s is not None and finding.until_s is not None:
            x, width = _LEFT + finding.from_s * scale, (finding.until_s - finding.from_s) * scale
            box = Box(x, _TOP, max(width, 2.0), bottom - _TOP, RED_GROUND)
            shapes += [box, hatched(box, RED, 6.0)]
    for n, (number, label) in enumerate(result.tracks):
        y, letters = _TOP + row * n, min(9.0, row * 0.8)
        shapes.append(Box(_LEFT, y, _WIDTH - _LEFT, 0.5, LINE))
        shapes.append(Words(0.0, y + row * 0.72, f"{number}  {label}"[:24], letters, INK))
    return Drawing(_WIDTH, bottom + 4.0, tuple(shapes), "session against takes, tracks as rows")


def _take_boxes(
    result: Verification, take: TakeResult, scale: float, row: float
) -> Iterator[Shape]:
    assert take.span_s is not None
    begin_s, end_s = take.span_s
    wrong = {f.track for f in take.findings if f.is_wrong and f.track is not None}
    for n, (number, _) in enumerate(result.tracks):
        top = _TOP + row * (n + 0.19)
        x, width = _LEFT + max(begin_s, 0.0) * scale, (end_s - max(begin_s, 0.0)) * scale
        box = Box(
            x, top, max(width - 1.0, 1.0), row * 0.62, RED_GROUND if number in wrong else COVER
        )
        yield box
        if number in wrong:
            yield hatched(box, RED, 5.0)

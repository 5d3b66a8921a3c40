"""A report as PDF, set from the same blocks as the HTML; needs Qt, but no display."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import QMarginsF, QRectF
from PySide6.QtGui import QColor, QGuiApplication, QPageLayout, QPageSize, QPainter, QPdfWriter

from app.report.typeset import UNITS_A_POINT, Typesetter
from engine.report.content.report_data import Report
from engine.report.layout import palette
from engine.report.layout.blocks import Block
from engine.report.layout.pages import pages

Progress = Callable[[int, int], None]
"""Told how many of how many are done; may raise to stop."""

PAPERS: Final = {"a4": QPageSize.PageSizeId.A4, "letter": QPageSize.PageSizeId.Letter}

_MARGINS_MM: Final = QMarginsF(14.0, 12.0, 14.0, 15.0)
_FOOT: Final = 17.0


def application() -> QGuiApplication:
    """The one there is, or one that needs no display: Qt's fonts want it. Keep it referred to."""
    there = QGuiApplication.instance()
    if isinstance(there, QGuiApplication):
        return there
    return QGuiApplication(["trackwarden", "-platform", "offscreen"])


def write_pdf(
    report: Report, path: str | Path, paper: str = "a4", progress: Progress | None = None
) -> int:
    """Write the report to that file; returns how many pages it has. See `write_blocks`."""
    return write_blocks(pages(report), report.title, path, paper, progress)


def write_blocks(
    blocks: Sequence[Block],
    title: str,
    path: str | Path,
    paper: str = "a4",
    progress: Progress | None = None,
) -> int:
    """Set those blocks on pages; returns how many there are.

    Parameters
    ----------
    paper : str
        A key of `PAPERS`.
    progress : callable, optional
        Told pages done and pages in all; what it raises ends the writing.

    Raises
    ------
    OSError
        Where the file can't be written.
    """
    keep = application()
    writer = QPdfWriter(str(path))
    writer.setResolution(round(72 * UNITS_A_POINT))
    layout = QPageLayout(
        QPageSize(PAPERS[paper]),
        QPageLayout.Orientation.Portrait,
        _MARGINS_MM,
        QPageLayout.Unit.Millimeter,
    )
    writer.setPageLayout(layout)
    writer.setTitle(title)
    writer.setCreator("trackwarden")
    painter = QPainter()
    if not painter.begin(writer):
        raise OSError(f"{path}: can't be written: check the folder and its rights")
    try:
        count = _paint(blocks, title, painter, writer, progress)
    finally:
        painter.end()
    del keep
    return count


def _paint(
    blocks: Sequence[Block],
    title: str,
    painter: QPainter,
    writer: QPdfWriter,
    progress: Progress | None,
) -> int:
    width, height = float(writer.width()), float(writer.height())
    setter = Typesetter(painter, width, height)
    for number, block in enumerate(blocks):
        setter.set(block, blocks[number + 1 : number + 4])
    for number, page in enumerate(setter.pages, start=1):
        if number > 1:
            writer.newPage()
        for draw in page:
            draw(painter)
        _foot(title, painter, setter, number)
        if progress is not None:
            progress(number, len(setter.pages))
    return len(setter.pages)


def _foot(title: str, painter: QPainter, setter: Typesetter, number: int) -> None:
    unit = UNITS_A_POINT
    box = QRectF(0, setter.height + 4 * unit, setter.width, _FOOT * unit)
    setter.write(painter, title, box, 7.5, QColor(palette.DIM))
    text = f"page {number} of {len(setter.pages)}"
    setter.write(painter, text, box, 7.5, QColor(palette.DIM), right=True)

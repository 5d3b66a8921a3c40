"""A report as PDF, set by Typst from the same blocks as the HTML: tagged, with an outline.

Source of what a tagged document needs: ISO 14289-1 (PDF/UA-1), as Typst checks it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import typst

from engine.report.content.report_data import Report
from engine.report.formats.svg import svg
from engine.report.layout import palette, severity_marks
from engine.report.layout.blocks import Block, Cell, Facts, Heading, Pictures, Table, Text, Tone
from engine.report.layout.pages import pages
from engine.report.layout.severity_marks import Mark
from engine.report.layout.unbroken import parts

Progress = Callable[[int, int], None]
"""Told how many of how many steps are done; may raise to stop."""

PAPERS: Final = {"a4": "a4", "letter": "us-letter"}
"""What Typst calls each paper."""

_HERE: Final = Path(__file__).parent
_TEMPLATE: Final = _HERE / "report.typ"
_FONTS: Final = _HERE / "fonts"
_FAMILY: Final = "Noto Sans"
"""The one in that folder; for letters it lacks, Typst looks among the installed ones."""

_FOOT_LETTERS: Final = 80
_NOBODY: Final = "trackwarden"
_COLOURS: Final = {
    **{tone.value: palette.INK for tone in Tone},
    Tone.DIM.value: palette.DIM,
    Tone.GOOD.value: palette.COVER,
    Tone.BAD.value: palette.RED,
    "line": palette.LINE,
    "edge": palette.EDGE,
    "stripe": palette.STRIPE,
}


def write_pdf(
    report: Report, path: str | Path, paper: str = "a4", progress: Progress | None = None
) -> None:
    """Write the report to that file. See `write_blocks`."""
    author = dict(report.heading).get("Mixer", _NOBODY)
    write_blocks(pages(report), report.title, path, paper, progress, author)


def write_blocks(
    blocks: Sequence[Block],
    title: str,
    path: str | Path,
    paper: str = "a4",
    progress: Progress | None = None,
    author: str = _NOBODY,
) -> None:
    """Set those blocks on pages.

    Parameters
    ----------
    paper : str
        A key of `PAPERS`.
    progress : callable, optional
        Told the steps that are done; what it raises ends the writing.

    Raises
    ------
    OSError
        Where the file can't be written.
    """
    tell = progress or (lambda done, whole: None)
    tell(0, 3)
    data = json.dumps(_document(blocks, title, author, paper))
    tell(1, 3)
    pdf = _compiled(data)
    tell(2, 3)
    try:
        Path(path).write_bytes(pdf)
    except OSError as error:
        raise OSError(f"{path}: can't be written: check the folder and its rights") from error
    tell(3, 3)


def _compiled(data: str) -> bytes:
    """The file; it claims to be PDF/UA-1 unless it has letters that no font here can show."""
    compiler = typst.Compiler(_TEMPLATE, font_paths=[_FONTS], sys_inputs={"report": data})
    try:
        pdf = compiler.compile(pdf_standards="ua-1")
    except typst.TypstError:
        pdf = compiler.compile()
    assert isinstance(pdf, bytes)
    return pdf


# ---- the blocks as data --------------------------------------------------------------------------


def _document(blocks: Sequence[Block], title: str, author: str, paper: str) -> dict[str, Any]:
    return {
        "title": title,
        "foot": title if len(title) <= _FOOT_LETTERS else title[: _FOOT_LETTERS - 1] + "…",
        "author": author,
        "paper": PAPERS[paper],
        "font": _FAMILY,
        "colours": _COLOURS,
        "marks": {m.value: (svg(severity_marks.drawing(m)), m.value) for m in Mark},
        "runs": _runs(blocks),
    }


def _runs(blocks: Sequence[Block]) -> list[dict[str, Any]]:
    """Runs of pages of one orientation, each a list of what begins on a new page."""
    runs: list[dict[str, Any]] = [{"landscape": False, "pages": [[]]}]
    for number, block in enumerate(blocks):
        if isinstance(block, Heading) and block.new_page:
            if block.landscape != runs[-1]["landscape"]:
                runs.append({"landscape": block.landscape, "pages": [[]]})
            elif runs[-1]["pages"][-1]:
                runs[-1]["pages"].append([])
        follows = blocks[number + 1] if number + 1 < len(blocks) else None
        runs[-1]["pages"][-1].append(_block(block, number, follows))
    return [run for run in runs if run["pages"][0]]


def _block(block: Block, number: int, follows: Block | None) -> dict[str, Any]:
    match block:
        case Heading():
            anchor = block.anchor or f"heading-{number}"
            return {"kind": "heading", "text": block.text, "level": block.level, "anchor": anchor}
        case Text():
            stays = isinstance(follows, Pictures)
            tone = block.tone.value
            return {"kind": "text", "parts": _parts(block.text), "tone": tone, "stays": stays}
        case Facts():
            pairs = [(name, _parts(value)) for name, value in block.pairs]
            return {"kind": "facts", "pairs": pairs}
        case Table():
            columns = [{"name": c.name, "share": c.share, "right": c.right} for c in block.columns]
            rows = [[_cell(cell) for cell in row] for row in block.rows]
            return {"kind": "table", "columns": columns, "rows": rows}
        case Pictures():
            drawings = [
                {"svg": svg(d), "title": d.title, "width": d.width, "height": d.height}
                for d in block.drawings
            ]
            return {"kind": "pictures", "across": block.across, "drawings": drawings}


def _cell(cell: Cell) -> dict[str, Any]:
    return {
        "parts": _parts(cell.text),
        "mark": None if cell.mark is None else cell.mark.value,
        "bold": cell.bold,
        "tone": cell.tone.value,
        "link": cell.link,
        "anchor": cell.anchor,
    }


def _parts(text: str) -> list[tuple[str, bool]]:
    """Only what has a blank in it needs to be held together: no figure is broken anyway."""
    merged: list[tuple[str, bool]] = []
    for part, whole in _with_blanks(text):
        if merged and not whole and not merged[-1][1]:
            merged[-1] = (merged[-1][0] + part, False)
        else:
            merged.append((part, whole))
    return merged


def _with_blanks(text: str) -> Iterator[tuple[str, bool]]:
    for part, whole in parts(text):
        yield part, whole and " " in part

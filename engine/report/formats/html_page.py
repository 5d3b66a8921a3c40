"""A report as one HTML file that stands alone: no script, no other file, pictures inline.

Every text from files is escaped: names are text, never markup.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html import escape
from itertools import count
from typing import Final

from engine.report.content.report_data import Report
from engine.report.formats.svg import FAMILY, svg
from engine.report.layout import palette, severity_marks
from engine.report.layout.blocks import Block, Cell, Facts, Heading, Pictures, Table, Text, Tone
from engine.report.layout.pages import pages

_FEW: Final = 4
"""So many pictures are printed on one page."""

_NUMBER: Final = re.compile(r"[−+]?\d[\d:;.,]*(?: ?(?:s|min|h|%|dB\w*|LUFS|to the end))?")
"""What never breaks over two lines: a label, a level, a length."""

_STYLE = f"""
@page {{ margin: 13mm 12mm 15mm; @bottom-right {{
  content: "page " counter(page); font: 8pt {FAMILY}; color: {palette.DIM}; }} }}
:root {{ color-scheme: light; }}
body {{ font: 13px/1.4 {FAMILY}; color: {palette.INK}; background: {palette.PAPER}; \
max-width: 1100px;
  margin: 24px auto; padding: 0 20px; font-variant-numeric: tabular-nums;
  print-color-adjust: exact; -webkit-print-color-adjust: exact; }}
h1 {{ font-size: 24px; margin: 0 0 6px; }}
h2 {{ font-size: 18px; margin: 22px 0 6px; padding-top: 8px; border-top: 2px solid {palette.INK}; }}
h3 {{ font-size: 14px; margin: 18px 0 6px; break-after: avoid; }}
p {{ margin: 3px 0; max-width: 90ch; overflow-wrap: anywhere; }}
p.dim {{ color: {palette.DIM}; }}
p.good {{ color: {palette.COVER}; }}
p.bad {{ color: {palette.RED}; font-weight: 700; }}
dl {{ display: flex; flex-wrap: wrap; gap: 2px 22px; margin: 4px 0 8px; }}
dl div {{ display: flex; gap: 6px; max-width: 100%; }}
dt {{ color: {palette.DIM}; white-space: nowrap; }}
dd {{ margin: 0; overflow-wrap: anywhere; }}
table {{ border-collapse: collapse; width: 100%; table-layout: fixed; margin: 4px 0 8px; }}
th {{ text-align: left; color: {palette.DIM}; font-size: 11.5px; vertical-align: bottom;
  border-bottom: 1.5px solid {palette.EDGE}; padding: 3px 6px 3px 4px; }}
td {{ vertical-align: top; padding: 3px 6px 3px 4px; border-bottom: 1px solid {palette.LINE};
  overflow-wrap: anywhere; }}
tr {{ break-inside: avoid; }}
tbody tr:nth-child(even) {{ background: {palette.STRIPE}; }}
.right {{ text-align: right; }}
.right, .whole {{ overflow-wrap: normal; }}
.whole {{ white-space: nowrap; }}
.scroll {{ overflow-x: auto; }}
nav ul {{ display: flex; flex-wrap: wrap; gap: 2px 16px; list-style: none; padding: 0; }}
nav a {{ color: {palette.INK}; }}
nav .l2 {{ font-weight: 700; }}
@media screen and (max-width: 700px) {{ body {{ padding: 0 10px; }}
  table {{ min-width: 680px; }} }}
td.bold {{ font-weight: 700; }}
td.bad {{ color: {palette.RED}; }}
svg {{ display: block; width: 100%; height: auto; font-family: {FAMILY}; }}
svg.mark {{ display: inline-block; width: 11px; height: 11px; margin-right: 4px; }}
.pictures {{ display: grid; gap: 14px 22px; margin: 6px 0; }}
.pictures > svg, .together {{ break-inside: avoid; }}
.across2 {{ grid-template-columns: 1fr 1fr; }}
@media screen and (max-width: 700px) {{ .across2 {{ grid-template-columns: 1fr; }} }}
@media print {{
  nav {{ display: none; }}
  .scroll {{ overflow: visible; }}
  body {{ margin: 0; padding: 0; max-width: none; font-size: 8.6pt; line-height: 1.3; }}
  h1 {{ font-size: 16pt; }}
  h2 {{ font-size: 12pt; margin-top: 8px; }}
  h3 {{ font-size: 10pt; margin-top: 9px; }}
  th {{ font-size: 7.2pt; }}
  table {{ font-size: 7.8pt; }}
  td, th {{ padding: 2px 4px 2px 3px; }}
  .newpage {{ break-before: page; }}
}}
"""


def html(report: Report) -> str:
    """The whole file as text, to be written in UTF-8."""
    return page(f"{report.title}: report", pages(report))


def page(title: str, blocks: Iterable[Block]) -> str:
    """Those blocks as one file that stands alone, to be written in UTF-8."""
    blocks = list(blocks)
    numbers = count(1)
    body = "\n".join(part for block in blocks for part in _block(block, numbers))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        # Nothing may be loaded or run, whatever a name from a file should slip in.
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n{_contents(blocks)}<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def _contents(blocks: Iterable[Block]) -> str:
    """Links to the parts; none where there are few."""
    headings = [block for block in blocks if isinstance(block, Heading)]
    if len(headings) < _FEW:
        return ""
    rows = "".join(
        f'<li class="l{block.level}"><a href="#h{number}">{escape(block.text)}</a></li>'
        for number, block in enumerate(headings, start=1)
        if block.level > 1
    )
    return f'<nav aria-label="Contents"><ul>{rows}</ul></nav>\n'


def _block(block: Block, numbers: Iterator[int]) -> Iterable[str]:
    match block:
        case Heading():
            kind = ' class="newpage"' if block.new_page else ""
            anchor = f' id="h{next(numbers)}"'
            yield f"<h{block.level}{anchor}{kind}>{escape(block.text)}</h{block.level}>"
        case Text():
            kind = "" if block.tone is Tone.PLAIN else f' class="{block.tone.value}"'
            yield f"<p{kind}>{escape(block.text)}</p>"
        case Facts():
            yield "<dl>"
            for name, value in block.pairs:
                yield f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>"
            yield "</dl>"
        case Table():
            yield from _table(block)
        case Pictures():
            few = " together" if len(block.drawings) <= _FEW else ""
            yield f'<div class="pictures across{block.across}{few}">'
            yield from map(svg, block.drawings)
            yield "</div>"


def _table(table: Table) -> Iterable[str]:
    whole = sum(column.share for column in table.columns)
    yield '<div class="scroll" tabindex="0" role="group" aria-label="Table"><table>'
    widths = (f'<col style="width:{100 * c.share / whole:.1f}%">' for c in table.columns)
    yield f"<colgroup>{''.join(widths)}</colgroup>"
    rights = [' class="right"' if column.right else "" for column in table.columns]
    if any(column.name for column in table.columns):
        pairs = zip(rights, table.columns, strict=True)
        heads = "".join(f"<th{right}>{escape(column.name)}</th>" for right, column in pairs)
        yield f"<thead><tr>{heads}</tr></thead>"
    yield "<tbody>"
    for row in table.rows:
        cells = zip(row, table.columns, strict=True)
        yield f"<tr>{''.join(_cell(cell, right=column.right) for cell, column in cells)}</tr>"
    yield "</tbody></table></div>"


def _cell(cell: Cell, *, right: bool) -> str:
    whole = "whole" if _NUMBER.fullmatch(cell.text) else ""
    kinds = ("right" if right else "", "bold" if cell.bold else "", whole, _tone(cell))
    names = " ".join(filter(None, kinds))
    kind = f' class="{names}"' if names else ""
    mark = "" if cell.mark is None else svg(severity_marks.drawing(cell.mark), "mark")
    return f"<td{kind}>{mark}{escape(cell.text)}</td>"


def _tone(cell: Cell) -> str:
    return "" if cell.tone is Tone.PLAIN else cell.tone.value

"""A report as one HTML file that stands alone: no script, no other file, pictures inline.

Every text from files is escaped: names are text, never markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from html import escape
from typing import Final

from engine.report.content.report_data import Report
from engine.report.formats.svg import FAMILY, svg
from engine.report.layout import palette, severity_marks
from engine.report.layout.blocks import Block, Cell, Facts, Heading, Pictures, Table, Text, Tone
from engine.report.layout.pages import pages
from engine.report.layout.unbroken import parts

_FEW: Final = 4
"""So many pictures are printed on one page."""

_STYLE = f"""
@page {{ margin: 13mm 12mm 15mm; @bottom-right {{
  content: "page " counter(page); font: 8pt {FAMILY}; color: {palette.DIM}; }} }}
@page landscape {{ size: landscape; }}
:root {{ color-scheme: light; }}
body {{ font: 13px/1.4 {FAMILY}; color: {palette.INK}; background: {palette.PAPER}; \
max-width: 1100px;
  margin: 24px auto; padding: 0 20px; font-variant-numeric: tabular-nums;
  print-color-adjust: exact; -webkit-print-color-adjust: exact; }}
h1, h2, h3, li {{ overflow-wrap: anywhere; }}
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
.whole {{ white-space: nowrap; overflow-wrap: normal; }}
.scroll {{ overflow-x: auto; }}
a {{ color: inherit; }}
nav ul {{ display: flex; flex-wrap: wrap; gap: 2px 16px; list-style: none; padding: 0; }}
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
.across3 {{ grid-template-columns: 1fr 1fr 1fr; }}
@media screen and (max-width: 1000px) {{ .across3 {{ grid-template-columns: 1fr 1fr; }} }}
@media screen and (max-width: 700px) {{ .across2, .across3 {{ grid-template-columns: 1fr; }} }}
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
  .landscape {{ page: landscape; }}
}}
"""


def html(report: Report) -> str:
    """The whole file as text, to be written in UTF-8."""
    return page(f"{report.title}: report", pages(report))


def page(title: str, blocks: Iterable[Block]) -> str:
    """Those blocks as one file that stands alone, to be written in UTF-8."""
    anchored = _anchored(blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        # Nothing may be loaded or run, whatever a name from a file should slip in.
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n{_contents(anchored)}<main>\n"
        + "\n".join(_body(anchored))
        + "\n</main>\n</body>\n</html>\n"
    )


def _anchored(blocks: Iterable[Block]) -> list[Block]:
    """The same with something to lead to in each heading."""
    return [
        replace(block, anchor=block.anchor or f"part-{number}")
        if isinstance(block, Heading)
        else block
        for number, block in enumerate(blocks)
    ]


def _contents(blocks: Iterable[Block]) -> str:
    """Links to the parts; none where there are few."""
    headings = [block for block in blocks if isinstance(block, Heading)]
    if len(headings) < _FEW:
        return ""
    rows = "".join(
        f'<li class="l{block.level}"><a href="#{block.anchor}">{escape(block.text)}</a></li>'
        for block in headings
        if block.level > 1
    )
    return f'<nav aria-label="Contents"><ul>{rows}</ul></nav>\n'


def _body(blocks: Iterable[Block]) -> Iterator[str]:
    """Each block; those that are printed in landscape in a part of their own."""
    landscape, above = False, ""
    for block in blocks:
        if isinstance(block, Heading):
            above = block.text
            if block.new_page and block.landscape != landscape:
                landscape = block.landscape
                yield '<div class="landscape">' if landscape else "</div>"
        yield from _block(block, above)
    if landscape:
        yield "</div>"


def _block(block: Block, above: str) -> Iterable[str]:
    match block:
        case Heading():
            kind = ' class="newpage"' if block.new_page else ""
            tag = f"h{block.level}"
            yield f'<{tag} id="{block.anchor}"{kind}>{escape(block.text)}</{tag}>'
        case Text():
            kind = "" if block.tone is Tone.PLAIN else f' class="{block.tone.value}"'
            yield f"<p{kind}>{escape(block.text)}</p>"
        case Facts():
            yield "<dl>"
            for name, value in block.pairs:
                yield f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>"
            yield "</dl>"
        case Table():
            yield from _table(block, above)
        case Pictures():
            few = " together" if len(block.drawings) <= _FEW else ""
            yield f'<div class="pictures across{block.across}{few}">'
            yield from map(svg, block.drawings)
            yield "</div>"


def _table(table: Table, above: str) -> Iterable[str]:
    whole = sum(column.share for column in table.columns)
    name = escape(f"Table: {above}", quote=True)
    yield f'<div class="scroll" tabindex="0" role="region" aria-label="{name}"><table>'
    widths = (f'<col style="width:{100 * c.share / whole:.1f}%">' for c in table.columns)
    yield f"<colgroup>{''.join(widths)}</colgroup>"
    headed = any(column.name for column in table.columns)
    if headed:
        heads = (
            f'<th scope="col"{_class(_right(c.right))}>{escape(c.name)}</th>' for c in table.columns
        )
        yield f"<thead><tr>{''.join(heads)}</tr></thead>"
    yield "<tbody>"
    for row in table.rows:
        cells = zip(row, table.columns, strict=True)
        yield (
            "<tr>"
            + "".join(
                _cell(cell, right=column.right, head=not headed and number == 0)
                for number, (cell, column) in enumerate(cells)
            )
            + "</tr>"
        )
    yield "</tbody></table></div>"


def _cell(cell: Cell, *, right: bool, head: bool) -> str:
    """A cell; the first of each row names the row where no column has a name."""
    pieces = list(parts(cell.text))
    whole = "whole" if len(pieces) == 1 and pieces[0][1] else ""
    tone = "" if cell.tone is Tone.PLAIN else cell.tone.value
    kind = _class(_right(right), "bold" if cell.bold else "", whole, tone)
    mark = "" if cell.mark is None else svg(severity_marks.drawing(cell.mark), "mark")
    anchor = f' id="{cell.anchor}"' if cell.anchor else ""
    words = escape(cell.text) if whole else "".join(map(_piece, pieces))
    if cell.link:
        words = f'<a href="#{cell.link}">{words}</a>'
    tag, scope = ("th", ' scope="row"') if head else ("td", "")
    return f"<{tag}{scope}{anchor}{kind}>{mark}{words}</{tag}>"


def _piece(piece: tuple[str, bool]) -> str:
    """A part of a cell; what has a blank or a colon in it might be broken there."""
    text, whole = piece
    if whole and (" " in text or ":" in text):
        return f'<span class="whole">{escape(text)}</span>'
    return escape(text)


def _right(right: bool) -> str:
    return "right" if right else ""


def _class(*names: str) -> str:
    kinds = " ".join(filter(None, names))
    return f' class="{kinds}"' if kinds else ""

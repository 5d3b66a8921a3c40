"""Drawings as SVG text, small and without anything that needs a script or another file."""

from __future__ import annotations

from html import escape

import numpy as np

from engine.report.layout.drawing import Box, Drawing, Path, Point, Shape, Words

FAMILY = "'Noto Sans','Segoe UI','Helvetica Neue','DejaVu Sans',Arial,sans-serif"


def svg(drawing: Drawing, css_class: str = "") -> str:
    """The drawing as one inline SVG element; texts are escaped."""
    size = f"{_n(drawing.width)} {_n(drawing.height)}"
    kind = f' class="{css_class}"' if css_class else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}"{kind} role="img">'
        f"<title>{escape(drawing.title)}</title>{''.join(map(_shape, drawing.shapes))}</svg>"
    )


def _shape(shape: Shape) -> str:
    match shape:
        case Box():
            return (
                f'<rect x="{_n(shape.x)}" y="{_n(shape.y)}" width="{_n(shape.width)}" '
                f'height="{_n(shape.height)}" fill="{shape.fill}"/>'
            )
        case Path():
            return _path(shape)
        case Words():
            anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
            bold = ' font-weight="700"' if shape.bold else ""
            return (
                f'<text x="{_n(shape.x)}" y="{_n(shape.y)}" font-size="{_n(shape.size)}" '
                f'fill="{shape.colour}"{anchor}{bold}>{escape(shape.text)}</text>'
            )


def _path(path: Path) -> str:
    """Whole tenths, scaled down by the viewer: shorter than decimals, and quicker to write."""
    data = "".join(_part(part, closed=bool(path.fill)) for part in path.parts)
    fill = path.fill or "none"
    width = round(path.width * 10)
    stroke = f' stroke="{path.stroke}" stroke-width="{width}"' if path.stroke else ""
    dashes = ' stroke-dasharray="30 20"' if path.dashed else ""
    return f'<path transform="scale(.1)" d="{data}" fill="{fill}"{stroke}{dashes}/>'


def _part(points: tuple[Point, ...], *, closed: bool) -> str:
    """Steps from point to point between rounded places, so that no error adds up."""
    tenths = np.rint(np.array(points) * 10.0).astype(np.int64)
    x, y = tenths[0]
    steps = " ".join(map(str, np.diff(tenths, axis=0).ravel().tolist())).replace(" -", "-")
    return f"M{x} {y}" + (f"l{steps}" if steps else "") + ("z" if closed else "")


def _n(value: float) -> str:
    return f"{round(value, 1):g}"

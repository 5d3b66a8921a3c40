"""Drawings as SVG text, small and without anything that needs a script or another file."""

from __future__ import annotations

from html import escape

from engine.report.drawing import Box, Drawing, Path, Point, Shape, Words

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
    data = "".join(_part(part, closed=bool(path.fill)) for part in path.parts)
    fill = path.fill or "none"
    stroke = f' stroke="{path.stroke}" stroke-width="{_n(path.width)}"' if path.stroke else ""
    dashes = ' stroke-dasharray="3 2"' if path.dashed else ""
    return f'<path d="{data}" fill="{fill}"{stroke}{dashes}/>'


def _part(points: tuple[Point, ...], *, closed: bool) -> str:
    """Steps in tenths from point to point, without an error that adds up."""
    x, y = round(points[0][0] * 10), round(points[0][1] * 10)
    text = [f"M{_tenths(x)} {_tenths(y)}"]
    for point in points[1:]:
        to_x, to_y = round(point[0] * 10), round(point[1] * 10)
        dx, dy = to_x - x, to_y - y
        if dy == 0:
            text.append(f"h{_tenths(dx)}")
        elif dx == 0:
            text.append(f"v{_tenths(dy)}")
        else:
            sign = "" if dy < 0 else " "
            text.append(f"l{_tenths(dx)}{sign}{_tenths(dy)}")
        x, y = to_x, to_y
    return "".join(text) + ("z" if closed else "")


def _tenths(value: int) -> str:
    whole, rest = divmod(abs(value), 10)
    digits = f"{whole}.{rest}" if rest and whole else f".{rest}" if rest else str(whole)
    return f"-{digits}" if value < 0 else digits


def _n(value: float) -> str:
    return _tenths(round(value * 10))

"""Contrast by the formula of WCAG 2.2 (definition of contrast ratio; SC 1.4.3 and 1.4.11)."""

from __future__ import annotations

import pytest

from app.style.theme import DAY, LOOKS, NIGHT, Look, font, scale_for, sheet

TEXT, SHAPE = 4.5, 3.0


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb"."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """(L1 + 0.05) / (L2 + 0.05), the lighter first."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_formula_gives_the_known_extremes() -> None:
    """White on black is 21:1 and white on pure red 4.00:1, as WCAG's definition gives."""
    assert contrast("#ffffff", "#000000") == pytest.approx(21.0)
    assert contrast("#ffffff", "#ff0000") == pytest.approx(4.0, abs=0.005)


@pytest.mark.parametrize("look", LOOKS.values(), ids=lambda look: look.name)
def test_text_is_readable(look: Look) -> None:
    """Every text colour keeps 4.5:1 on every ground it stands on (SC 1.4.3)."""
    for words in (look.ink, look.dim, look.cover, look.amber, look.red):
        for ground in (look.bg, look.panel):
            assert contrast(words, ground) >= TEXT, (words, ground)
    for words, ground in (
        (look.red, look.red_bg),
        (look.amber, look.amber_bg),
        (look.bg, look.ink),
        (look.bg, look.red),
        (look.ink, look.line),
    ):
        assert contrast(words, ground) >= TEXT, (words, ground)


@pytest.mark.parametrize("look", LOOKS.values(), ids=lambda look: look.name)
def test_shapes_stand_out(look: Look) -> None:
    """Ribbons, bars, marks and the edges of buttons keep 3:1 against what is next to them."""
    for shape in (look.ribbon, look.bar, look.edge, look.ink, look.amber, look.red, look.cover):
        for ground in (look.bg, look.panel):
            assert contrast(shape, ground) >= SHAPE, (shape, ground)


def test_looks_differ() -> None:
    """Night is light on dark, day dark on light."""
    assert luminance(NIGHT.bg) < luminance(NIGHT.ink)
    assert luminance(DAY.bg) > luminance(DAY.ink)


def test_scale_follows_the_window() -> None:
    """The drawn size is 1 at 1440 × 900, and neither tiny nor huge at the ends."""
    assert scale_for(1440, 900) == 1.0
    assert scale_for(800, 480) == 0.86
    assert scale_for(2560, 1440) == pytest.approx(1.6)
    assert scale_for(7680, 4320) == 1.75


def test_figures_are_equally_wide(qapp: object) -> None:
    """Numbers do not dance: all figures of the font in use have one width."""
    from PySide6.QtGui import QFontMetrics

    metrics = QFontMetrics(font(22, bold=True))
    assert len({metrics.horizontalAdvance(figure) for figure in "0123456789"}) == 1


def test_sheet_holds_no_gap(qapp: object) -> None:
    """Every placeholder of the style sheet is filled in."""
    assert "{" not in sheet(NIGHT, 1.0).replace("{ ", "").replace("{\n", "").replace(" {", "")

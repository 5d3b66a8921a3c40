"""Contrast by the formula of WCAG 2.2 (definition of contrast ratio; SC 1.4.3 and 1.4.11)."""

from __future__ import annotations

import pytest

from engine.report.layout.palette import SHAPE_ON, TEXT_ON


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb"."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """(L1 + 0.05) / (L2 + 0.05), the lighter first."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("text", "ground"), TEXT_ON)
def test_text_is_readable(text: str, ground: str) -> None:
    """Every text keeps 4.5:1 on every ground it stands on (SC 1.4.3)."""
    assert contrast(text, ground) >= 4.5


@pytest.mark.parametrize(("shape", "ground"), SHAPE_ON)
def test_shapes_stand_out(shape: str, ground: str) -> None:
    """Every shape keeps 3:1 against what is next to it (SC 1.4.11)."""
    assert contrast(shape, ground) >= 3.0

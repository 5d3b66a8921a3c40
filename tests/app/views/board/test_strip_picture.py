"""The drawn ribbons, pixel by pixel."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtGui import QColor

from app.style.theme import DAY, NIGHT, Look
from app.views.board.strip_picture import bin_of, draw, pooled
from engine.model.messages import Severity
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S, LevelStrip
from engine.model.units import FLOOR_DB

END_S = 1200 * RIBBON_STEP_S


def ribbon(level: float, end_s: float = END_S) -> LevelStrip:
    """One track at one level."""
    shape = (RIBBON_COLUMNS, 1)
    return LevelStrip(np.full(shape, level, np.float32), np.zeros(shape, np.uint8), end_s)


def lit(look: Look, made: LevelStrip, x: int) -> int:
    """Pixels in that column of the picture that are not ground."""
    image = draw(made, np.array([0]), 300, 50, look)
    ground = {QColor(look.panel).rgb(), QColor(look.line).rgb()}
    return sum(image.pixel(x, y) not in ground for y in range(50))


def test_louder_is_higher() -> None:
    """A bar grows with the level; with no level at all there is none."""
    heights = [lit(NIGHT, ribbon(level), 100) for level in (FLOOR_DB, -60.0, -40.0, -20.0, 0.0)]
    assert heights[0] == 0
    assert heights == sorted(set(heights))


@pytest.mark.parametrize("look", [NIGHT, DAY], ids=lambda look: look.name)
@pytest.mark.parametrize("severity", list(Severity))
def test_colour_only_where_it_was_wrong(look: Look, severity: Severity) -> None:
    """The second half was in fault: it has the fault's colour, even silent; the first has not."""
    made = ribbon(FLOOR_DB)
    made.severity[RIBBON_COLUMNS // 2 :] = severity
    image = draw(made, np.array([0]), 300, 50, look)
    colour = QColor(look.colour(severity)).rgb()
    seen = [any(image.pixel(x, y) == colour for y in range(50)) for x in range(300)]
    assert not any(seen[:149])
    assert all(seen[151:])


@given(st.integers(0, 11))
def test_bars_keep_their_height_as_they_move(shift: int) -> None:
    """As time goes on, old bars move along whole; none is pooled anew in another company."""
    rng = np.random.default_rng(3)
    long = rng.uniform(-60, 0, (RIBBON_COLUMNS + 12, 1)).astype(np.float32)
    zeros = np.zeros((RIBBON_COLUMNS, 1), np.uint8)

    def bars(start: int) -> list[float]:
        part = LevelStrip(
            long[start : start + RIBBON_COLUMNS], zeros, END_S + start * RIBBON_STEP_S
        )
        return pooled(part, np.array([0]), 4)[0][:, 0].tolist()

    before, after = bars(0), bars(shift)
    moved = -(-shift // 4)
    assert after[1 : len(after) - moved - 1] == before[1 + moved : len(before) - 1]


@given(st.integers(1, 2000))
def test_bins_divide_the_ribbon(width: int) -> None:
    """At every width a whole number of columns makes a bar, and each bar has a pixel."""
    each = bin_of(width)
    assert RIBBON_COLUMNS % each == 0
    assert RIBBON_COLUMNS // each <= max(1, width)

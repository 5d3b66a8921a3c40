"""The drawn ribbons, pixel by pixel."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtGui import QColor, QImage

from app.style.theme import DAY, NIGHT, Look
from app.views.board.strip_picture import Strips, bin_of, pooled
from engine.model.messages import Severity
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S, LevelStrip
from engine.model.units import FLOOR_DB

END_S = 1200 * RIBBON_STEP_S


def ribbon(level: float, end_s: float = END_S) -> LevelStrip:
    """One track at one level."""
    shape = (RIBBON_COLUMNS, 1)
    return LevelStrip(np.full(shape, level, np.float32), np.zeros(shape, np.uint8), end_s)


def picture_of(look: Look, made: LevelStrip) -> QImage:
    """One row of 300 × 50 pixels."""
    strips = Strips(np.array([0]), 300, 50, look)
    strips.draw(made)
    return strips.image.copy()


def lit(look: Look, made: LevelStrip, x: int) -> int:
    """Pixels in that column of the picture that are not ground."""
    image = picture_of(look, made)
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
    image = picture_of(look, made)
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


@given(
    st.lists(st.floats(0.0, 3.0), min_size=1, max_size=8),
    st.sampled_from([24, 90, 300, 390]),
    st.integers(0, 2**16),
)
def test_what_is_left_standing_is_what_would_be_drawn(
    steps_s: list[float], width: int, seed: int
) -> None:
    """However the time goes on, a picture brought up to date is the same as one drawn whole."""
    rng, end_s = np.random.default_rng(seed), END_S
    level = rng.uniform(-70, 0, (RIBBON_COLUMNS, 2)).astype(np.float32)
    worst = rng.choice([0, 0, 0, 1, 2], (RIBBON_COLUMNS, 2)).astype(np.uint8)
    rows, marks = np.array([1, 0]), [END_S - 30.0, END_S + 2.0]
    kept = Strips(rows, width, 17, NIGHT)
    for n, step_s in enumerate(steps_s):
        shift = round((end_s + step_s - END_S) / RIBBON_STEP_S)
        end_s += step_s
        level[-1] = np.maximum(level[-1], rng.uniform(-70, 0, 2))
        made = LevelStrip(np.roll(level, -shift, 0), np.roll(worst, -shift, 0), end_s)
        fresh = Strips(rows, width, 17, NIGHT)
        for strips in (kept, fresh):
            strips.draw(made, marks[: n % 3])
        assert kept.image == fresh.image


def test_only_the_newest_bar_is_drawn_as_it_fills() -> None:
    """Between two bars nothing but the last few pixels is touched; the same again draws nothing."""
    strips, made = Strips(np.array([0]), 90, 20, NIGHT), ribbon(-40.0)
    assert strips.draw(made) == range(90)
    assert not strips.draw(made)
    made.level_dbfs[-1] = -10.0
    assert strips.draw(made) == range(89 - 90 * bin_of(90) // RIBBON_COLUMNS + 1, 90)

"""Sizes of letters against a published formula, and heights calculated by hand.

Sources: NUREG-0700 rev. 2, 1.3.1-4 (H = 6.283 · D · MA / 21600; 16 minutes of arc at least, 20 to
22 preferred for reading, 45 at most in groups); ISO 9241-3, as notes on display terminals quote it
(the same 16 and 20 to 22).
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.style import viewing_distance


@pytest.mark.parametrize(
    ("distance_m", "arcmin", "height_mm"),
    [
        (0.6, 16, 2.8),
        (1.0, 20, 5.8),
        (1.5, 22, 9.6),
        (3.0, 16, 14.0),
        (3.0, 20, 17.5),
        (3.0, 22, 19.2),
        (5.0, 16, 23.3),
    ],
)
def test_heights_at_usual_distances(distance_m: float, arcmin: float, height_mm: float) -> None:
    """Capital heights are 2 · D · tan(angle / 2), calculated by hand to 0.1 mm."""
    assert viewing_distance.capital_mm(distance_m, arcmin) == pytest.approx(height_mm, abs=0.05)


@given(st.floats(0.3, 20), st.floats(5, 60))
def test_the_published_formula_agrees(distance_m: float, arcmin: float) -> None:
    """NUREG-0700's formula, which leaves out the tangent, gives the same to 0.1 %."""
    theirs_mm = 6.283 * distance_m * 1000 * arcmin / 21600
    assert viewing_distance.capital_mm(distance_m, arcmin) == pytest.approx(theirs_mm, rel=1e-3)


@given(st.floats(0.3, 20), st.floats(5, 60))
def test_there_and_back(distance_m: float, arcmin: float) -> None:
    """Height, angle and distance are three faces of one triangle."""
    height_mm = viewing_distance.capital_mm(distance_m, arcmin)
    assert viewing_distance.arcmin_of(height_mm, distance_m) == pytest.approx(arcmin)
    assert viewing_distance.distance_m(height_mm, arcmin) == pytest.approx(distance_m)


def test_density_is_the_screens_own() -> None:
    """A 14-inch screen of 1920 × 1080 has 157 pixels an inch; a given diagonal wins."""
    across_mm = 14 * 25.4
    share = math.hypot(16, 9)
    size_mm = (across_mm * 16 / share, across_mm * 9 / share)
    found = viewing_distance.px_per_mm((1920, 1080), size_mm)
    assert found * 25.4 == pytest.approx(157.35, abs=0.05)
    assert viewing_distance.px_per_mm((1920, 1080), size_mm, 28) == pytest.approx(found / 2)


@pytest.mark.parametrize("size_mm", [(0.0, 0.0), (16.0, 9.0), (1e5, 1e5)])
def test_a_screen_that_does_not_know_its_size(size_mm: tuple[float, float]) -> None:
    """Projectors report nonsense: the usual 96 pixels an inch are taken then."""
    assert viewing_distance.px_per_mm((1920, 1080), size_mm) * 25.4 == pytest.approx(96)

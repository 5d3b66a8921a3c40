"""Each state stays told apart by shape and by luminance where colours are not seen.

Dichromacies as simulated in linear RGB: protanopia and deuteranopia by Viénot, Brettel and Mollon
(1999), "Digital video colourmaps for checking the legibility of displays by dichromats"; tritanopia
by Brettel, Viénot and Mollon (1997), whose two half planes it needs; coefficients for sRGB
primaries as published in libDaltonLens (public domain). Contrast: WCAG 2.2.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QRectF
from PySide6.QtGui import QImage, QPainter

from app.style import state_shapes
from app.style.state_marks import Mark
from app.style.theme import LOOKS, Look

PROTAN = np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]])
DEUTAN = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]])
TRITAN = (
    np.array(
        [[1.01277, 0.13548, -0.14826], [-0.01243, 0.86812, 0.14431], [0.07589, 0.805, 0.11911]]
    ),
    np.array(
        [[0.93678, 0.18979, -0.12657], [0.06154, 0.81526, 0.1232], [-0.37562, 1.12767, 0.24796]]
    ),
)
TRITAN_PLANE = np.array([0.03901, -0.02788, -0.01113])
SIGHTS = ("usual", "protan", "deutan", "tritan", "none")


def linear(colour: str) -> NDArray[np.float64]:
    """Linear RGB of "#rrggbb" (IEC 61966-2-1)."""
    c = np.array([int(colour[n : n + 2], 16) for n in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def seen(colour: str, sight: str) -> NDArray[np.float64]:
    """Linear RGB as that sight has it."""
    rgb = linear(colour)
    if sight == "protan":
        rgb = PROTAN @ rgb
    elif sight == "deutan":
        rgb = DEUTAN @ rgb
    elif sight == "tritan":
        rgb = TRITAN[0 if rgb @ TRITAN_PLANE >= 0 else 1] @ rgb
    elif sight == "none":
        rgb = np.full(3, luminance(rgb))
    return np.clip(rgb, 0, 1)


def luminance(rgb: NDArray[np.float64]) -> float:
    """Relative luminance of linear RGB (WCAG 2.2)."""
    return float(rgb @ (0.2126, 0.7152, 0.0722))


def contrast(one: str, other: str, sight: str) -> float:
    """Contrast ratio of two colours for that sight."""
    low, high = sorted(luminance(seen(c, sight)) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def test_white_and_black_stay_what_they_are() -> None:
    """The simulations leave greys alone, as the papers ask, so that luminances can be compared."""
    for sight in SIGHTS:
        for grey in ("#000000", "#808080", "#ffffff"):
            assert seen(grey, sight) == pytest.approx(linear(grey), abs=2e-3)


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("look", LOOKS.values(), ids=lambda look: look.name)
def test_states_stand_out_for_every_sight(look: Look, sight: str) -> None:
    """Amber and red text keep 4.5:1 on their grounds, and shapes 3:1, for every kind of sight."""
    for colour, ground in ((look.red, look.red_bg), (look.amber, look.amber_bg)):
        for behind in (ground, look.panel, look.bg):
            assert contrast(colour, behind, sight) >= 4.5
    for colour in (look.ribbon, look.bar, look.edge):
        assert contrast(colour, look.panel, sight) >= 3.0


@pytest.mark.parametrize("sight", SIGHTS)
@pytest.mark.parametrize("look", LOOKS.values(), ids=lambda look: look.name)
def test_a_fault_is_told_from_none_by_luminance(look: Look, sight: str) -> None:
    """Grounds of faults, and amber beside red in a ribbon, differ in luminance alone."""
    assert contrast(look.red, look.ribbon, sight) >= 1.2
    assert contrast(look.amber, look.red, sight) >= 1.2
    assert contrast(look.amber, look.ribbon, sight) >= 1.2


@pytest.mark.parametrize("sight", ["usual", "protan", "deutan", "tritan"])
@pytest.mark.parametrize("look", LOOKS.values(), ids=lambda look: look.name)
def test_red_has_more_mass_than_amber(look: Look, sight: str) -> None:
    """A state cell of a new red changes more light than one of an amber, for every kind of sight.

    Counted over a cell as the board draws it: the red a field with light words on a twentieth of
    it, the amber an outline (a tenth) and words. Luminance: WCAG 2.2.
    """
    words, outline = 0.05, 0.1
    light = {name: luminance(seen(getattr(look, name), sight)) for name in COLOURS}
    ground = light["panel"]
    red = abs((1 - words) * (light["alarm"] - ground)) + abs(words * (light["on_alarm"] - ground))
    amber = abs((words + outline) * (light["amber"] - ground))
    assert red > 1.15 * amber
    assert contrast(look.on_alarm, look.alarm, sight) >= 4.5
    assert contrast(look.alarm, look.panel, sight) >= 1.5


COLOURS = ("alarm", "on_alarm", "amber", "panel")


def drawn(mark: Mark) -> NDArray[np.bool_]:
    """Where a mark has ink at 20 pixels."""
    image = QImage(20, 20, QImage.Format.Format_Grayscale8)
    image.fill(0)
    painter = QPainter(image)
    state_shapes.draw(painter, mark, QRectF(0, 0, 20, 20), "#ffffff")
    painter.end()
    pixels = np.frombuffer(image.constBits(), np.uint8).reshape(20, image.bytesPerLine())
    return pixels[:, :20] > 127


def test_shapes_alone_tell_states_apart(qapp: object) -> None:
    """In black and white no two marks share more than half of their ink."""
    assert qapp is not None
    inks = {mark: drawn(mark) for mark in Mark}
    for one, other in combinations(inks.values(), 2):
        assert (one & other).sum() / (one | other).sum() < 0.6
    assert all(ink.any() for ink in inks.values())

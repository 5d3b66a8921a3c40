"""How large letters must be to be read from afar. Pure arithmetic; no Qt.

Source: NUREG-0700 rev. 2, 1.3.1-4, and ISO 9241-3 as quoted: a capital letter subtends 20 to 22
minutes of arc for reading, 16 at least; no more than 45 in groups (NUREG-0700 alone).
"""

from __future__ import annotations

import math
from typing import Final

LEAST_ARCMIN: Final = 16.0
AIM_ARCMIN: Final = 22.0
MOST_ARCMIN: Final = 45.0

INCH_MM: Final = 25.4
USUAL_PX_PER_MM: Final = 96 / INCH_MM
"""Taken where a screen does not know its own size."""
BELIEVED_PX_PER_MM: Final = (40 / INCH_MM, 400 / INCH_MM)
"""Screens that report a density outside of this do not know their size."""


def capital_mm(distance_m: float, arcmin: float) -> float:
    """Height of a capital letter that subtends that angle at that distance."""
    return 2000.0 * distance_m * math.tan(math.radians(arcmin / 60.0) / 2.0)


def arcmin_of(height_mm: float, distance_m: float) -> float:
    """The angle that a capital letter of that height subtends, minutes of arc."""
    return 120.0 * math.degrees(math.atan(height_mm / (2000.0 * distance_m)))


def distance_m(height_mm: float, arcmin: float = LEAST_ARCMIN) -> float:
    """How far off a capital letter of that height may be to subtend that angle."""
    return height_mm / (2000.0 * math.tan(math.radians(arcmin / 60.0) / 2.0))


def px_per_mm(
    size_px: tuple[float, float], size_mm: tuple[float, float], diagonal_inch: float = 0.0
) -> float:
    """Pixels a millimetre of a screen: by its diagonal where that is given, else as it reports.

    size_px : width and height in the pixels that the window counts in
    size_mm : width and height as the screen reports them; 0 where it does not
    """
    across_px, across_mm = math.hypot(*size_px), math.hypot(*size_mm)
    if diagonal_inch > 0:
        across_mm = diagonal_inch * INCH_MM
    if across_mm <= 0:
        return USUAL_PX_PER_MM
    density = across_px / across_mm
    low, high = BELIEVED_PX_PER_MM
    return density if low <= density <= high else USUAL_PX_PER_MM

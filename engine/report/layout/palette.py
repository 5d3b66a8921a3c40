"""Colours of a report on paper, and of the board by day.

Hatching and shapes tell severities apart without them.

Text keeps 4.5:1 and drawn shapes 3:1 against what is next to them. Source: WCAG 2.2, SC 1.4.3
and 1.4.11; that colour is never the only carrier: SC 1.4.1.
"""

from __future__ import annotations

from typing import Final

PAPER: Final = "#ffffff"
STRIPE: Final = "#f4f2ec"
LINE: Final = "#d5d0c2"
EDGE: Final = "#85826f"
INK: Final = "#17191b"
DIM: Final = "#5c6268"
LEVEL: Final = "#868a88"
RED: Final = "#9a0d05"
RED_GROUND: Final = "#ffd9d3"
AMBER: Final = "#8a5c00"
AMBER_GROUND: Final = "#ffe7b0"
BREAK_GROUND: Final = "#e7e5de"
COVER: Final = "#1c5d91"

TEXT_ON: Final = (
    (INK, PAPER),
    (INK, STRIPE),
    (INK, RED_GROUND),
    (INK, AMBER_GROUND),
    (DIM, PAPER),
    (DIM, STRIPE),
    (DIM, BREAK_GROUND),
    (RED, PAPER),
    (RED, STRIPE),
    (RED, RED_GROUND),
    (AMBER, PAPER),
    (AMBER, STRIPE),
    (AMBER, AMBER_GROUND),
    (COVER, PAPER),
    (COVER, STRIPE),
    (PAPER, RED),
)
"""Every pair of text and ground a report has."""

SHAPE_ON: Final = (
    (LEVEL, PAPER),
    (EDGE, PAPER),
    (EDGE, BREAK_GROUND),
    (RED, PAPER),
    (RED, RED_GROUND),
    (AMBER, PAPER),
    (AMBER, AMBER_GROUND),
    (COVER, PAPER),
    (INK, PAPER),
)
"""Every pair of shape and ground a picture has."""

"""The shapes that stand before a state's word."""

from __future__ import annotations

from enum import StrEnum


class Mark(StrEnum):
    """One shape a state; `app/style/state_shapes.py` draws them."""

    OK = "ring"
    AMBER = "triangle"
    RED = "octagon"
    RETURNED = "hollow triangle"
    SHELVED = "clock"
    SUPPRESSED = "bars"
    OUT_OF_SERVICE = "cross"
    BATTERY = "battery"

"""Numbers as people read them: a true minus, one unit, a dash where there is no value."""

from __future__ import annotations

from typing import Final

MINUS: Final = "\u2212"
"""U+2212, as wide as a plus; a hyphen-minus is overlooked and breaks a line."""

NO_VALUE: Final = "—"


def true_minus(text: str) -> str:
    """The text with a true minus for each hyphen-minus: only of numbers, never of names."""
    return text.replace("-", MINUS)


def number(value: float, unit: str = "", *, digits: int = 1, signed: bool = False) -> str:
    """'−23.4 LUFS'; a value that rounds to zero has no minus.

    Parameters
    ----------
    value : float
    unit : str
        Left out where empty.
    digits : int
        After the point.
    signed : bool
        With a plus too.
    """
    value = round(value, digits) + 0.0  # -0.0 becomes 0.0
    text = true_minus(f"{value:{'+' if signed else ''}.{digits}f}")
    return f"{text} {unit}" if unit else text


def number_or_dash(value: float | None, unit: str = "", *, digits: int = 1) -> str:
    """The same; a dash where there is no value."""
    return NO_VALUE if value is None else number(value, unit, digits=digits)

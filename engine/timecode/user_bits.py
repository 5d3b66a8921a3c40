"""What the user bits of LTC say.

Source: SMPTE ST 309 (a date in the binary groups) as the reference library libltc reads it: groups
1 and 2 the day, 3 and 4 the month, 5 and 6 the year, units first.
"""

from __future__ import annotations

from calendar import monthrange


def as_text(user_bits: int) -> str:
    """The eight binary groups as hexadecimal digits, the eighth first, as recorders show them."""
    return f"{user_bits:08x}"


def date_in(user_bits: int) -> str | None:
    """The date in them, YYYY-MM-DD of this century; None where they hold none."""
    groups = [user_bits >> 4 * n & 0xF for n in range(8)]
    if max(groups[:6]) > 9:
        return None
    day, month, year = (groups[n] + 10 * groups[n + 1] for n in (0, 2, 4))
    year += 2000
    if not 1 <= month <= 12 or not 1 <= day <= monthrange(year, month)[1]:
        return None
    return f"{year}-{month:02}-{day:02}"

"""How long something is overdue, in time in which this process itself was running.

A computer that stood still (it swapped, it slept, all was stopped) held up both sides: who did not
answer meanwhile does not hang. Standard library alone.
"""

from __future__ import annotations


class Patience:
    """Waits for signs that come now and then.

    Parameters
    ----------
    look_s : float
        The waiting side looks about this often; what passes between two looks counts as no more.
    now_s : float
        On any steady scale.
    """

    def __init__(self, look_s: float, now_s: float) -> None:
        self._look_s, self._looked_at = look_s, now_s
        self.waited_s = 0.0
        """Since the last sign, as of the last look."""

    def came(self) -> None:
        """A sign came."""
        self.waited_s = 0.0

    def look(self, now_s: float) -> float:
        """Nothing came until now; returns `waited_s`."""
        self.waited_s += min(max(now_s - self._looked_at, 0.0), self._look_s)
        self._looked_at = now_s
        return self.waited_s

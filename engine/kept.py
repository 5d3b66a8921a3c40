"""What a watch must remember over a restart; written into the session log each second."""

from __future__ import annotations

from dataclasses import dataclass, field

from engine.alarms.kept import KeptBook
from engine.desk import Desk
from engine.learned import Memory
from engine.line_result import LineResult


@dataclass(frozen=True, slots=True)
class Kept:
    """A watch as it stood at stream time `fed_s`.

    floor_dbfs : learned live floors in track order, NaN where unknown
    steady_s, boot, utc_ms : when that was by the steady clock of this boot, and by the wall clock
    desk : marks, notes, break and batteries
    line_results : the newest line check of each track
    learned : what the detectors learned
    """

    fed_s: float
    audio_lost_s: float
    floor_dbfs: tuple[float, ...]
    book: KeptBook
    steady_s: float
    boot: str
    utc_ms: int
    desk: Desk = field(default_factory=Desk)
    line_results: tuple[LineResult, ...] = ()
    learned: tuple[Memory, ...] = ()

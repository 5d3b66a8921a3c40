"""What a watch must remember over a restart; written into the session log each second."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from engine.alarms.book_checkpoint import BookCheckpoint
from engine.alarms.book_checkpoint import moved as moved_book
from engine.detectors.learned import Memory
from engine.detectors.learned import moved as moved_memories
from engine.model.crew_notes import CrewNotes
from engine.model.line_results import LineResult
from engine.model.track_remap import TrackRemap


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A watch as it stood at stream time `fed_s`.

    floor_dbfs : learned live floors in track order, NaN where unknown
    steady_s, boot, utc_ms : when that was by the steady clock of this boot, and by the wall clock
    desk : marks, notes, break and batteries
    line_results : the newest line check of each track
    learned : what the detectors learned
    inputs : those of the tracks, in the order of all of the above
    server_source : what a sound server had connected the input to
    """

    fed_s: float
    audio_lost_s: float
    floor_dbfs: tuple[float, ...]
    book: BookCheckpoint
    steady_s: float
    boot: str
    utc_ms: int
    desk: CrewNotes = field(default_factory=CrewNotes)
    line_results: tuple[LineResult, ...] = ()
    learned: tuple[Memory, ...] = ()
    inputs: tuple[int, ...] = ()
    server_source: str = ""

    def of(self, inputs: tuple[int, ...]) -> Checkpoint:
        """The same of those tracks: a plan may have been changed as the engine broke off."""
        if self.inputs in ((), inputs):
            return self
        remap = TrackRemap.of(self.inputs, inputs)
        return replace(
            self,
            floor_dbfs=tuple(remap.first(np.array(self.floor_dbfs), np.nan).tolist()),
            book=moved_book(self.book, remap),
            learned=moved_memories(self.learned, remap),
            inputs=inputs,
        )

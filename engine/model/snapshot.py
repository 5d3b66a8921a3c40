"""What a window needs to draw the present: levels, alarms, backups, two minutes, the log."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.crew_notes import CrewNotes
from engine.model.early_signs import EarlySign
from engine.model.line_results import LineCheck, LineResult
from engine.model.listening import Listening
from engine.model.messages import Alarm, AlarmEvent, Flags, Levels
from engine.model.pickups import Pickup
from engine.model.round_state import RoundState


@dataclass(frozen=True, slots=True)
class Cover:
    """How one `who` stands now: its packs, the healthy ones, which to use (input numbers)."""

    who: str
    tracks: tuple[int, ...]
    healthy: tuple[int, ...]
    use: int | None

    @property
    def uncovered(self) -> bool:
        """Every pack of this `who` is in fault."""
        return not self.healthy


RIBBON_STEP_S: Final = 0.4
RIBBON_COLUMNS: Final = 300
"""The ribbon covers the last two minutes."""


@dataclass(frozen=True, slots=True, eq=False)
class LevelStrip:
    """The last two minutes of every track, oldest column first.

    level_dbfs : (columns, tracks) float32 sample peak of each column; `FLOOR_DB` where unknown
    severity : (columns, tracks) uint8: 0 normal, else a `Severity`
    end_s : stream time at the end of the last column
    """

    level_dbfs: NDArray[np.float32]
    severity: NDArray[np.uint8]
    end_s: float


@dataclass(frozen=True, slots=True)
class LogState:
    """How the session log stands: all up to `saved_s` seconds ago is on the disk.

    `problem` is why it can't be written, one line, empty while it can; `waiting` counts the lines
    kept in memory.
    """

    saved_s: float
    problem: str = ""
    waiting: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Snapshot:
    """All that a window needs to draw the present; newest wins, none depends on another.

    Arrays have shape (tracks,), in the order of `inputs`; `peak_dbfs` is the sample peak of the
    last tick, `peak_hold_dbfs` the highest of the last two seconds. `alarms` holds every alarm that
    is not normal, most urgent first; `out_of_service` the input numbers of the tracks the crew
    took out, in fault or not. `engine_load` is the share of one core the watch uses, `notice` one
    line on the source. `timecode` is the label of now, `timecode_origin` where it comes from (see
    `timecode.clock.Origin`). `log` is None where nothing is logged; `drift_ppm` is how much
    faster the interface's clock runs than this computer's, None while unknown. `floor_dbfs`
    and `presence_dbfs` are those of the last measurement. `desk` is what the crew told. `events`
    are those since the snapshot before; never needed to draw. `heard_at` is when
    the newest audio came to the engine, on the steady clock that all processes of one boot share.
    `signs` are the early signs to be shown, `pickups` who hears those whom nothing covers.
    `computer` says what of the computer itself is about to fail, one line each: what, what to do.
    """

    now_s: float
    momentary_lufs: Levels
    peak_dbfs: Levels
    peak_hold_dbfs: Levels
    level_dbfs: Levels
    present: Flags
    alarms: tuple[Alarm, ...]
    covers: tuple[Cover, ...]
    ribbon: LevelStrip
    standby: bool = False
    out_of_service: tuple[int, ...] = ()
    audio_lost_s: float = 0.0
    engine_load: float = 0.0
    ended: bool = False
    notice: str = ""
    timecode: str = ""
    timecode_origin: str = ""
    log: LogState | None = None
    drift_ppm: float | None = None
    floor_dbfs: Levels | None = None
    presence_dbfs: Levels | None = None
    desk: CrewNotes = field(default_factory=CrewNotes)
    listening: Listening | None = None
    line_check: LineCheck | None = None
    line_results: tuple[LineResult, ...] = ()
    heard_at: float = 0.0
    events: tuple[AlarmEvent, ...] = field(default=())
    inputs: tuple[int, ...] = ()
    signs: tuple[EarlySign, ...] = ()
    pickups: tuple[Pickup, ...] = ()
    round: RoundState = field(default_factory=RoundState)
    computer: tuple[str, ...] = ()

"""Rows of a session log as plain data: what its reader hands out. Times are stream seconds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from engine.model.commands import Open
from engine.model.early_signs import SignKind
from engine.model.line_results import Heard
from engine.model.messages import Levels
from engine.session.loudness_totals import LoudnessTotals


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """What the session was begun with.

    utc_ms : when, wall clock, milliseconds since 1970
    start_s : time of day (or place in the take's timecode) of stream time 0
    """

    utc_ms: int
    source: str
    live: bool
    sample_rate_hz: int
    channels: int
    host_api: str
    frame_rate: str
    start_s: float
    title: str
    request: Open
    plan_text: str


@dataclass(frozen=True, slots=True)
class Run:
    """One engine, from its start to its end; `end_s` and `end_reason` are None of a killed one."""

    at_s: float
    end_s: float | None
    end_reason: str | None


@dataclass(frozen=True, slots=True)
class Change:
    """One change of an alarm; `kind` is a word of `EventKind`."""

    incident: int
    kind: str
    at_s: float
    until_s: float | None


@dataclass(frozen=True, slots=True)
class Action:
    """One command somebody gave."""

    command: str
    arguments: Mapping[str, Any]
    who: str
    at_s: float


@dataclass(frozen=True, slots=True)
class MarkRecord:
    """A mark, where the crew put it."""

    at_s: float
    text: str
    who: str


@dataclass(frozen=True, slots=True)
class Gap:
    """Audio or log lines that were lost up to `at_s`."""

    at_s: float
    lost_s: float
    lines: int
    reason: str


@dataclass(frozen=True, slots=True)
class SignRecord:
    """An early sign from `since_s`, told at `told_s`; `until_s` None: it stood to the end."""

    kind: SignKind
    tracks: tuple[int, ...]
    since_s: float
    told_s: float
    until_s: float | None
    normal: float
    now: float


@dataclass(frozen=True, slots=True)
class LineCheckRecord:
    """What the line check found of one track."""

    track: int
    verdict: str
    note: str
    heard: Heard
    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class SecondLevels:
    """One second: momentary maximum, sample peak, AES17 RMS of the inputs watched then.

    levels : (3, inputs) LUFS, dBFS, dBFS; NaN where unknown
    """

    second: int
    inputs: Sequence[int]
    levels: Levels


@dataclass(frozen=True, slots=True, eq=False)
class SecondEnvelope:
    """AES17 RMS of each tenth of one second, dBFS, shape (10, inputs); NaN where unknown."""

    second: int
    inputs: Sequence[int]
    rms_dbfs: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class StretchRecord:
    """What one engine measured from `begin_s` to `end_s`; `gates` as `Gates.pack` made them.

    figures : None where another version of the program wrote them
    """

    begin_s: float
    end_s: float
    figures: LoudnessTotals | None
    gates: bytes

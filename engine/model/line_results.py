"""What a line check says of each track: plain data and the words for it.

Targets are common practice, no source: dialogue averages -30 to -20 dBFS with peaks at -20 to
-10, and a safety lies 12 dB lower.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

SPEECH_DBFS: Final = (-30.0, -20.0)
PEAK_DBFS: Final = (-20.0, -10.0)
SAFETY_DB: Final = 12.0
ENOUGH_S: Final = 3.0
"""So much speech gives a level."""
ENOUGH_TAPS: Final = 2


class Verdict(StrEnum):
    """What the crew made of a track."""

    PASSED = "passed"
    FAILED = "failed"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True)
class Heard:
    """What came from one track while it was asked for; None where nothing tells yet.

    speech_s, taps : seconds of speech, number of taps
    speech_dbfs, peak_dbfs, floor_dbfs : RMS of the speech, sample peak, RMS of the pauses; AES17
    clipped : flat tops were seen
    hum : what the hum is, "" where there is none
    offset_db : main less safety, while somebody spoke
    inverted : the two packs are inverted against each other
    code : timecode came; None on a track that carries none
    elsewhere : the input on which the taps came up instead
    """

    speech_s: float = 0.0
    taps: int = 0
    speech_dbfs: float | None = None
    peak_dbfs: float | None = None
    floor_dbfs: float | None = None
    clipped: bool = False
    hum: str = ""
    offset_db: float | None = None
    inverted: bool | None = None
    code: bool | None = None
    elsewhere: int | None = None

    @property
    def came(self) -> bool:
        """There is a signal: speech, a tap, or timecode."""
        return bool(self.code) or self.taps > 0 or self.speech_s >= 0.3

    @property
    def enough(self) -> bool:
        """It tells enough to decide."""
        return bool(self.code) or self.taps >= ENOUGH_TAPS or self.speech_s >= ENOUGH_S


@dataclass(frozen=True, slots=True)
class LineResult:
    """One track that was checked at stream time `at_s`, its label then, and what the crew said."""

    track: int
    verdict: Verdict
    at_s: float
    timecode: str
    heard: Heard
    note: str = ""


@dataclass(frozen=True, slots=True)
class LineCheck:
    """How a check stands: the inputs in order, the one asked for, the newest result of each.

    at : None once all were asked for
    """

    order: tuple[int, ...]
    at: int | None
    heard: Heard
    results: tuple[LineResult, ...] = ()

    def result(self, track: int) -> LineResult | None:
        """The newest result of that input."""
        return next((r for r in self.results if r.track == track), None)


def findings(heard: Heard, safety: bool, talks: bool) -> tuple[str, ...]:
    """What is wrong with what was heard, one short line each, the gravest first.

    `talks`: speech on this track has a target level.
    """
    lower_db = SAFETY_DB if safety else 0.0
    lines = []
    if heard.elsewhere is not None:
        lines.append(f"the taps come up on input {heard.elsewhere}: patched wrongly")
    if heard.code is False:
        lines.append("no valid timecode yet")
    if heard.clipped:
        lines.append("clipping: transmitter gain down")
    if heard.inverted:
        lines.append("inverted against the other pack: capsule or cable wired the other way round")
    if heard.hum:
        lines.append(f"{heard.hum}; pass accepts this hum as normal")
    if talks and heard.speech_dbfs is not None and heard.speech_s >= ENOUGH_S:
        low, high = (edge - lower_db for edge in SPEECH_DBFS)
        if heard.speech_dbfs < low:
            lines.append(f"{low - heard.speech_dbfs:.0f} dB under the target: gain up")
        elif heard.speech_dbfs > high:
            lines.append(f"{heard.speech_dbfs - high:.0f} dB over the target: gain down")
    return tuple(lines)

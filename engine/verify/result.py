"""What came of holding takes against a session; plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from engine.pipeline.scan_document import document
from engine.pipeline.scan_result import ScanResult
from engine.verify.channel_match import ChannelMatch
from engine.verify.follow import Course

SCHEMA: Final = 1
"""Version of the JSON document; raised when a script that reads it would have to change."""


class Difference(StrEnum):
    """What can be found; the values are the words of CONTRACT.md."""

    NOT_TAKEN = "not taken"
    NOT_RECORDED = "not recorded"
    OTHER_CHANNEL = "other channel"
    DOUBLED = "doubled"
    OTHER_MIC = "other mic"
    GAIN = "gain"
    FAULT_IN_FILE = "fault in file"
    CLEAN_IN_FILE = "clean in file"
    GAP = "gap"
    REPEAT = "repeat"
    TIMECODE = "timecode"
    SAMPLE_RATE = "sample rate"
    NOT_IN_SESSION = "not in session"
    UNFINISHED = "unfinished"
    UNLIKE_ITS_FELLOWS = "unlike its fellows"
    NAMES = "names"
    MIX = "mix-down"
    COPY = "copy"


HARMLESS: Final = frozenset({Difference.CLEAN_IN_FILE, Difference.MIX})
"""Worth knowing, but nothing is missing or wrong."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is missing, differs, or is worth knowing; `text` is one plain line.

    take : path of the take; None where it is about the session
    track : input of the session; channel : of the take, from 1
    from_s, until_s : session time, None where it is not about a time
    """

    what: Difference
    text: str
    take: str | None = None
    track: int | None = None
    channel: int | None = None
    from_s: float | None = None
    until_s: float | None = None

    @property
    def is_wrong(self) -> bool:
        """Something is missing or differs."""
        return self.what not in HARMLESS


@dataclass(frozen=True, slots=True)
class TakeResult:
    """One take: where it lies on the session, and what was found of it.

    course : None where it lies nowhere on the session
    timecode_frames : how many frames its own labels are ahead of the session's; None unknown
    """

    path: str
    scan: ScanResult
    course: Course | None
    match: float
    timecode_frames: int | None
    channels: tuple[ChannelMatch, ...]
    findings: tuple[Finding, ...]

    @property
    def span_s(self) -> tuple[float, float] | None:
        """Begin and end in session time."""
        if self.course is None:
            return None
        return self.course.start_s, self.course.session_s(self.scan.duration_s)


@dataclass(frozen=True, slots=True)
class Verification:
    """All takes against one session.

    findings : of the session and of files, before those of each take
    failed : takes that could not be read, and why
    coarse : the session was logged by an older version, with one level a second
    rolling : when the session rolled, session time, s
    tracks : input and label of every track of the session
    """

    session: str
    title: str
    takes: tuple[TakeResult, ...]
    findings: tuple[Finding, ...]
    failed: tuple[tuple[str, str], ...]
    coarse: bool
    rolling: tuple[tuple[float, float], ...] = ()
    tracks: tuple[tuple[int, str], ...] = ()
    labels: tuple[tuple[float, str], ...] = ()

    @property
    def all_findings(self) -> tuple[Finding, ...]:
        """Of the session, then of each take."""
        return self.findings + tuple(f for take in self.takes for f in take.findings)

    @property
    def complete(self) -> bool:
        """All that was heard is there, as it was heard."""
        return not self.failed and not any(f.is_wrong for f in self.all_findings)

    def label(self, at_s: float | None) -> str | None:
        """Timecode of a moment that a finding names."""
        return None if at_s is None else dict(self.labels).get(at_s)

    def as_json(self) -> dict[str, Any]:
        """The JSON document of CONTRACT.md as plain Python values."""
        return {
            "kind": "verify",
            "schema": SCHEMA,
            "session": self.session,
            "title": self.title,
            "complete": self.complete,
            "coarse": self.coarse,
            "takes": [self._take_json(take) for take in self.takes],
            "findings": [self._finding_json(finding) for finding in self.all_findings],
            "failed": [{"path": path, "reason": reason} for path, reason in self.failed],
        }

    def _take_json(self, take: TakeResult) -> dict[str, Any]:
        span, course = take.span_s, take.course
        return {
            "path": take.path,
            "start_s": None if span is None else round(span[0], 4),
            "end_s": None if span is None else round(span[1], 4),
            "match": round(take.match, 3),
            "clock_ppm": None if course is None or course.ppm is None else round(course.ppm, 1),
            "timecode_offset_frames": take.timecode_frames,
            "channels": [_channel_json(match) for match in take.channels],
            "scan": document(take.scan),
        }

    def _finding_json(self, finding: Finding) -> dict[str, Any]:
        return {
            "what": finding.what.value,
            "wrong": finding.is_wrong,
            "text": finding.text,
            "take": finding.take,
            "track": finding.track,
            "channel": finding.channel,
            "from_s": _seconds(finding.from_s),
            "until_s": _seconds(finding.until_s),
            "from_timecode": self.label(finding.from_s),
            "until_timecode": self.label(finding.until_s),
        }


def _channel_json(match: ChannelMatch) -> dict[str, Any]:
    return {
        "track": match.input,
        "on_channels": [channel + 1 for channel in match.on],
        "gain_db": round(match.gain_db, 1) if match.on else None,
    }


def _seconds(at_s: float | None) -> float | None:
    return None if at_s is None else round(at_s, 3)

"""A report to write, as data, and how it is written step by step. No Qt: a process does it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from app.report.marker_files import write_markers
from app.report.take_scan import scan_one
from app.report.write import (
    Files,
    Progress,
    scanned_section,
    session_section,
    sweep,
    write_report,
)
from engine.plan.load import PlanError
from engine.report.content.report_data import Section
from engine.sources.base import SourceError

_READING: Final = 0.8
"""Share of the bar for reading sessions and takes; the rest is for writing."""

_SCANNING: Final = 0.85
"""Of a take's part, the share for its scan; the rest is for the sound around each onset."""


@dataclass(frozen=True, slots=True)
class ReportJob:
    """One report of sessions (their folders) and takes (paths, or "demo"), in that order.

    markers : the folder for markers of each, where they are wanted
    """

    sessions: tuple[Path, ...]
    takes: tuple[str, ...]
    files: Files
    plan: str | None = None
    paper: str = "a4"
    markers: Path | None = None

    @property
    def broke_off(self) -> str:
        """What to say where its process was ended by others."""
        return "writing the report broke off: try again"

    @property
    def failed(self) -> str:
        """What to say before the reason where it raised."""
        return "the report can't be written"

    def run(self, progress: Progress) -> Written:
        """Do it; see `write`."""
        return write(self, progress)

    def tidy(self, pid: int) -> None:
        """Leave no half file of the process that did it."""
        sweep(self.files, pid)


@dataclass(frozen=True, slots=True)
class Written:
    """What became of it: one line, where it lies, and what could not be read."""

    words: str
    folder: Path
    html: Path | None
    left_out: tuple[str, ...] = ()


class JobFailedError(Exception):
    """Nothing came of it; one clear line."""


def write(job: ReportJob, progress: Progress) -> Written:
    """Read what the report is of, then write it; what can't be read is left out and named.

    Raises
    ------
    JobFailedError
        Where nothing could be read, or the files can't be written.
    Cancelled
        From `progress`.
    """
    sections: list[Section] = []
    left_out: list[str] = []
    subjects: list[Path | str] = [*job.sessions, *job.takes]
    for number, subject in enumerate(subjects):
        tell = _part(progress, _READING * number / len(subjects), _READING / len(subjects))
        try:
            if isinstance(subject, Path):
                tell(f"reading session {subject.name}", 0.0)
                sections.append(session_section(subject, tell))
            else:
                sections.append(_take(subject, job.plan, tell))
        except (SourceError, PlanError, OSError) as error:
            left_out.append(str(error).splitlines()[0])
    if not sections:
        raise JobFailedError(" ".join(left_out) or "nothing was chosen to report on")
    tell = _part(progress, _READING, 1.0 - _READING)
    try:
        if job.files.wanted:
            write_report(sections, job.files, paper=job.paper, progress=tell)
        markers = [] if job.markers is None else write_markers(sections, job.markers)
    except OSError as error:
        raise JobFailedError(f"the report can't be written: {error}") from error
    return _written(job, sections, left_out, markers)


def _take(take: str, plan: str | None, tell: Progress) -> Section:
    name = Path(take).name

    def scanned(share: float) -> None:
        tell(f"scanning {name}", _SCANNING * share)

    tell(f"opening {name}", 0.0)
    result, path = scan_one(take, plan, lambda line: tell(line, 0.0), scanned)
    return scanned_section(result, path, _part(tell, _SCANNING, 1.0 - _SCANNING))


def _part(progress: Progress, start: float, length: float) -> Progress:
    """Tells its share as a part of the whole."""
    return lambda what, share: progress(what, start + length * share)


def _written(
    job: ReportJob, sections: Sequence[Section], left_out: Sequence[str], markers: Sequence[Path]
) -> Written:
    paths = [*job.files.wanted, *markers]
    names = ", ".join(path.name for path in paths)
    reds = sum(e.incident.red_s is not None for s in sections for e in s.entries)
    incidents = sum(len(section.entries) for section in sections)
    words = f"Report written: {names}. Incidents: {incidents}, red: {reds}."
    return Written(words, paths[0].parent, job.files.html, tuple(left_out))

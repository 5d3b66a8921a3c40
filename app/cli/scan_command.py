"""`trackwarden scan`: takes as fast as the machine can, as a table, as JSON, as files."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from app.cli import terminal
from app.cli.scan_jobs import Outcome, ScanJob, scan_at_once, scan_here
from engine.model.safe_text import harmless, json_text
from engine.pipeline.scan_document import Failure, document, documents
from engine.pipeline.scan_result import ScanResult
from engine.sources.base import SourceError
from engine.sources.take_files import takes_in
from engine.system.platform_calls import keep_freed_memory, usable_cores

if TYPE_CHECKING:  # writing a report is imported once one is asked for
    from engine.report.content.report_data import Section

OK: Final = 0
RED: Final = 1
FAILED: Final = 2

PROGRESS_S: Final = 10.0
"""Without a terminal, progress is a line this often."""


@dataclass(frozen=True, slots=True)
class ScanOptions:
    """How to scan, and where what goes; see the command line's help."""

    plan: str | None = None
    as_json: bool = False
    json_lines: bool = False
    report: str | None = None
    paper: str = "a4"
    markers: str | None = None
    marked_copy: str | None = None
    jobs: int | None = None
    quiet: bool = False

    @property
    def wants_sections(self) -> bool:
        """Something is to be written of what was found."""
        return (self.report, self.markers, self.marked_copy) != (None, None, None)


@dataclass(slots=True)
class _Gathered:
    """What has come in so far, in the order of the takes."""

    results: list[ScanResult] = field(default_factory=list)
    sections: list[Section] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)


def scan_takes(takes: Sequence[str], options: ScanOptions) -> int:
    """Scan each take and print what was found; returns the exit status.

    A take that can't be read is named on standard error, in JSON and in the report, and the others
    are still scanned.
    """
    keep_freed_memory()
    gathered = _Gathered()
    paths = _expanded(takes, gathered.failures)
    jobs = [
        ScanJob(path, options.plan, options.wants_sections, options.json_lines) for path in paths
    ]
    for outcome in _outcomes(jobs, options):
        _take_in(outcome, gathered, options)
    if options.as_json:
        take_count = (
            len(jobs) + len(gathered.failures) - sum(f.path in paths for f in gathered.failures)
        )
        _print(json_text(documents(gathered.results, gathered.failures, take_count), indent=1))
    if options.report is not None:
        _report(gathered, options.report, options.paper)
    if options.markers is not None:
        _mark(gathered, options.markers)
    if options.marked_copy is not None:
        _copy(gathered, Path(options.marked_copy))
    if gathered.failures:
        return FAILED
    return RED if any(result.red for result in gathered.results) else OK


def _expanded(takes: Sequence[str], failures: list[Failure]) -> list[str]:
    """Each take by a path of its own; parts that belong to one named before are left out."""
    paths: list[str] = []
    name_of: dict[Path, str] = {}
    for take in takes:
        if take == "demo":
            paths.append(take)
            continue
        try:
            inside = takes_in(Path(take))
        except SourceError as error:
            _say(str(error))
            failures.append(Failure(take, str(error)))
            continue
        for one in inside:
            first, name = one.parts[0][0].path, str(one.path) if len(inside) > 1 else take
            if first in name_of:
                _say(f"{harmless(name)}: read as a part of {harmless(name_of[first])}")
                continue
            name_of.update({file.path: name for row in one.parts[1:] for file in row})
            paths.append(name)
    return paths


def _outcomes(jobs: Sequence[ScanJob], options: ScanOptions) -> Iterator[Outcome]:
    processes = min(options.jobs or usable_cores(), len(jobs))
    if processes > 1:
        progress = _Progress(quiet=options.quiet)
        many = len(jobs)
        yield from scan_at_once(
            jobs, processes, lambda done: progress.show(done / many, f"{done} of {many} takes")
        )
        return
    for job in jobs:
        progress = _Progress(quiet=options.quiet)
        name = harmless(Path(job.take).name)
        on_line = _print_line if options.json_lines else None
        yield scan_here(
            job,
            lambda share, p=progress, n=name: p.show(share, n),  # type: ignore[misc]
            on_line,
            1 if options.jobs == 1 else 2,
        )


def _take_in(outcome: Outcome, gathered: _Gathered, options: ScanOptions) -> None:
    """Print what came of one take, and keep what is to be written at the end."""
    for line in outcome.said:
        _say(line)
    if outcome.failure is not None:
        _say(outcome.failure.reason)
        gathered.failures.append(outcome.failure)
        return
    assert outcome.result is not None
    gathered.results.append(outcome.result)
    if outcome.section is not None:
        gathered.sections.append(outcome.section)
    if options.json_lines:
        _print_line({**document(outcome.result), "kind": "take"})
    elif not options.as_json:
        from app.cli.scan_text import as_text

        _print(as_text(outcome.result))


def _print_line(line: dict[str, Any]) -> None:
    _print(json_text(line))


def _report(gathered: _Gathered, folder: str, paper: str) -> None:
    from app.report.write import Files, write_report

    files = Files.all_in(Path(folder))
    write_report(gathered.sections, files, paper=paper, failures=gathered.failures)
    _say(f"{files.html}: written, with .pdf, .csv and .json beside it")


def _mark(gathered: _Gathered, folder: str) -> None:
    from app.report.marker_files import write_markers

    paths = write_markers(gathered.sections, Path(folder))
    _say(f"{harmless(folder)}: {len(paths)} files of markers written")


def _print(text: str) -> None:
    """Print it; where the reader has gone the scan goes on for its exit status."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        terminal.stop_writing()


def _copy(gathered: _Gathered, folder: Path) -> None:
    """What can't be copied is named; it was read all the same, but makes the status 2."""
    from app.report.marked_copy import write_marked_copies
    from engine.report.content.markers import markers_of

    for section in gathered.sections:
        try:
            paths = write_marked_copies(Path(section.path), markers_of(section), folder)
        except SourceError as error:
            _say(str(error))
            gathered.failures.append(Failure(section.path, str(error)))
            continue
        _say(f"{harmless(', '.join(map(str, paths)))}: written with markers")


def _say(line: str) -> None:
    print(line, file=sys.stderr)


class _Progress:
    """A percentage on a terminal, a line now and then elsewhere, nothing where `quiet`."""

    def __init__(self, *, quiet: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._quiet, self._clock = quiet, clock
        self._percent = -1
        self._due_s = clock() + PROGRESS_S

    def show(self, share: float, what: str) -> None:
        """So much of that is done."""
        percent = int(100 * share)
        if self._quiet or percent == self._percent:
            return
        if sys.stderr.isatty():
            self._percent = percent
            end = "\r\x1b[K" if percent >= 100 else ""
            print(f"\rscanning {what} {percent} %{end}", end="", file=sys.stderr, flush=True)
        elif self._clock() >= self._due_s:
            self._percent = percent
            self._due_s = self._clock() + PROGRESS_S
            print(f"scanning {what} {percent} %", file=sys.stderr, flush=True)

"""Scans several takes at once, one process a take, and hands the results over in their order."""

from __future__ import annotations

import multiprocessing
import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from app.report.take_scan import scan_one
from engine.model.messages import Incident
from engine.pipeline.scan_document import Failure, incident_line
from engine.pipeline.scan_result import ScanResult
from engine.plan.load import PlanError
from engine.sources.base import SourceError
from engine.system.platform_calls import can_fork
from engine.timecode.clock import TimecodeClock

if TYPE_CHECKING:  # a report, and what runs several takes, are imported once they are asked for
    from concurrent.futures import Future

    from engine.report.content.report_data import Section

PATIENCE_S: Final = 1.0
"""Between two looks at what is done, so that progress can be told."""


@dataclass(frozen=True, slots=True)
class ScanJob:
    """What to scan one take by; `sound`: with what a report needs of its sound."""

    take: str
    plan: str | None
    sound: bool = False
    lines: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one take: a result, or why it could not be read.

    section : for a report, where it was asked for
    said : lines for the user, in order
    lines : documents of single incidents, where they were asked for
    """

    take: str
    result: ScanResult | None = None
    section: Section | None = None
    failure: Failure | None = None
    said: tuple[str, ...] = ()
    lines: tuple[dict[str, Any], ...] = ()


def scan_here(
    job: ScanJob,
    progress: Callable[[float], None] | None = None,
    on_line: Callable[[dict[str, Any]], None] | None = None,
    processes: int = 2,
) -> Outcome:
    """Scan one take in this process (and one that measures ahead of it)."""
    said: list[str] = []
    lines: list[dict[str, Any]] = []

    def say(line: str) -> None:
        if line not in said:
            said.append(line)

    def incident(found: Incident, clock: TimecodeClock) -> None:
        line = incident_line(job.take, found, clock)
        lines.append(line)
        if on_line is not None:
            on_line(line)

    try:
        result, path = scan_one(
            job.take,
            job.plan,
            say,
            progress,
            on_incident=incident if job.lines else None,
            processes=processes,
        )
        section = _section(result, path) if job.sound else None
    except (SourceError, PlanError, OSError) as error:
        return Outcome(job.take, failure=Failure(job.take, str(error)), said=tuple(said))
    return Outcome(job.take, result, section, None, tuple(said), tuple(lines))


def _section(result: ScanResult, path: str) -> Section:
    from app.report.write import scanned_section

    return scanned_section(result, path)


def scan_at_once(
    jobs: Sequence[ScanJob], processes: int, waiting: Callable[[int], None]
) -> Iterator[Outcome]:
    """Scan the takes by so many processes; `waiting` is told how many are done, now and then."""
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    context = multiprocessing.get_context("fork" if can_fork() else "spawn")
    with ProcessPoolExecutor(processes, context, _begin) as pool:
        # Not all at once: what is done and not yet handed over is kept in memory.
        ahead: deque[tuple[ScanJob, Future[Outcome]]] = deque()
        rest = deque(jobs)
        done = 0
        try:
            while ahead or rest:
                while rest and len(ahead) < 2 * processes:
                    job = rest.popleft()
                    ahead.append((job, pool.submit(_scan_alone, job)))
                job, future = ahead[0]
                try:
                    outcome = future.result(PATIENCE_S)
                except TimeoutError:
                    waiting(done + sum(one.done() for _, one in ahead))
                    continue
                except BrokenProcessPool:
                    reason = f"{job.take}: the process that scans it ended: try again"
                    outcome = Outcome(job.take, failure=Failure(job.take, reason))
                ahead.popleft()
                done += 1
                yield outcome
        except BaseException:  # whoever gives up does not wait for what is under way
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _begin() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends the work


def _scan_alone(job: ScanJob) -> Outcome:
    return scan_here(job, processes=1)

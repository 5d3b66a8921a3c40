"""Scans one take as a report and the command line want it: by its plan, with its sound around."""

from __future__ import annotations

from collections.abc import Callable

from engine.model.commands import Open
from engine.pipeline.scan import OnIncident, scan_take
from engine.pipeline.scan_result import ScanResult
from engine.pipeline.take_probe import probe_take
from engine.runtime.open_source import fit_plan, with_demo
from engine.sources.take_files import files_of


def scan_one(
    take: str,
    plan: str | None,
    say: Callable[[str], None],
    progress: Callable[[float], None] | None = None,
    *,
    on_incident: OnIncident | None = None,
    processes: int = 2,
) -> tuple[ScanResult, str]:
    """Scan one take, or "demo"; returns what was found, and the take's path.

    say : given one line at a time: what the take's files lack, how the demo take comes along
    progress : given the share that is done; what it raises ends the scan
    on_incident, processes : see `scan_take`

    Raises
    ------
    SourceError, PlanError
        Where take or plan can't be read, or don't fit each other.
    """
    request = with_demo(Open(take=take, plan=plan, demo=take == "demo"), say)
    assert request.take is not None
    files = files_of(request.take)
    info = probe_take(files)
    fitting, disagreements = fit_plan(request.plan, info)
    whole_s = (info.frames or 0) / info.sample_rate_hz

    def tell(done_s: float) -> None:
        if progress is not None and whole_s:
            progress(min(done_s / whole_s, 1.0))

    result = scan_take(
        files, fitting, tell, disagreements, on_incident=on_incident, processes=processes
    )
    for notice in result.notices:
        say(notice)
    return result, request.take

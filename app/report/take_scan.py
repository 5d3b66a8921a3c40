"""One take, opened with its plan and scanned: for the command, and for a report of takes."""

from __future__ import annotations

from collections.abc import Callable

from engine.model.commands import Open
from engine.pipeline.scan import ScanResult, scan_take
from engine.runtime.open_source import fitting_plan, with_demo
from engine.sources.take import open_take


def scan_one(
    take: str,
    plan: str | None,
    say: Callable[[str], None],
    progress: Callable[[float], None] | None = None,
) -> tuple[ScanResult, str]:
    """Scan one take, or "demo"; returns what was found, and the take's path.

    say : told one line at a time: what the take's files lack, how the demo take comes along
    progress : told the share that is done; what it raises ends the scan

    Raises
    ------
    SourceError, PlanError
        Where take or plan can't be read, or don't fit each other.
    """
    request = with_demo(Open(take=take, plan=plan, demo=take == "demo"), say)
    assert request.take is not None
    source = open_take(request.take, read_ahead=0)
    source.close()
    info = source.info
    fitting = fitting_plan(request.plan, info)
    for notice in info.notices:
        say(notice)
    whole_s = (info.frames or 0) / info.sample_rate_hz

    def tell(done_s: float) -> None:
        if progress is not None and whole_s:
            progress(min(done_s / whole_s, 1.0))

    return scan_take(request.take, fitting, tell), request.take

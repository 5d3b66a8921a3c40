"""`trackwarden scan`: takes as fast as the machine can, as a table or as JSON."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

from app.cli.watch_command import summary
from app.report.take_scan import scan_one
from app.report.write import Files, scanned_section, write_report
from app.style import wording
from engine.alarms.coverage_timeline import WhoCoverage
from engine.model.number_text import number_or_dash
from engine.model.safe_text import json_text
from engine.pipeline.scan import SCHEMA, ScanResult
from engine.plan.load import PlanError
from engine.report.content import words
from engine.report.content.report_data import Section
from engine.sources.base import SourceError

OK: Final = 0
RED: Final = 1
FAILED: Final = 2


def scan_takes(
    takes: Sequence[str],
    plan: str | None,
    as_json: bool,
    report: str | None = None,
    paper: str = "a4",
) -> int:
    """Scan each take and print what was found; returns the exit status.

    A take that can't be read is named on standard error, and the others are still scanned. With
    `report`, one report of all of them is written into that folder.
    """
    results: list[ScanResult] = []
    sections: list[Section] = []
    status = OK
    for take in takes:
        try:
            result, path = scan_one(take, plan, _only_new(), _percent())
            if report is not None:
                sections.append(scanned_section(result, path))
        except (SourceError, PlanError, OSError) as error:
            print(error, file=sys.stderr)
            status = FAILED
            continue
        results.append(result)
        if not as_json:
            print(_as_text(result), flush=True)
    if as_json and results:
        print(json_text(_document(results, len(takes)), indent=1))
    if report is not None and sections:
        _report(sections, report, paper)
    if status == OK and any(result.red for result in results):
        status = RED
    return status


def _report(sections: Sequence[Section], folder: str, paper: str) -> None:
    files = Files.all_in(Path(folder))
    write_report(sections, files, paper=paper)
    _say(f"{files.html}: written, with .pdf, .csv and .json beside it")


def _say(line: str) -> None:
    print(line, file=sys.stderr)


def _only_new() -> Callable[[str], None]:
    """Says each line once, however often it comes again."""
    last = [""]

    def say(line: str) -> None:
        if line != last[0]:
            last[0] = line
            _say(line)

    return say


def _percent() -> Callable[[float], None] | None:
    """A percentage on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        return None
    shown = -1

    def show(share: float) -> None:
        nonlocal shown
        percent = int(100 * share)
        if percent != shown:
            shown = percent
            end = "\r\x1b[K" if percent >= 100 else ""
            print(f"\rscanning {percent} %{end}", end="", file=sys.stderr, flush=True)

    return show


def _document(results: list[ScanResult], takes: int) -> dict[str, Any]:
    """One take's own document; for several, one document that lists them."""
    if takes == 1:
        return results[0].as_json()
    return {"schema": SCHEMA, "takes": [result.as_json() for result in results]}


def _as_text(result: ScanResult) -> str:
    info = result.info
    lines = [
        f"{info.name}: {wording.watching(result.duration_s)}, {info.sample_rate_hz / 1000:g} kHz"
    ]
    lines.append(
        f"{'track':>5}  {'name':<24} {'LUFS':>6} {'max M':>6} {'dBTP':>6} {'floor':>6}  present"
    )
    for row in result.as_json()["tracks"]:
        numbers = " ".join(
            f"{number_or_dash(row[key]):>6}"
            for key in (
                "integrated_lufs",
                "momentary_max_lufs",
                "true_peak_max_dbtp",
                "noise_floor_dbfs",
            )
        )
        present = row["present_fraction"]
        share = wording.NO_LEVEL if present is None else f"{100 * present:.0f} %"
        lines.append(f"{row['track']:>5}  {row['name'][:24]:<24} {numbers}  {share:>7}")
    lines.append(summary(result.incidents, result.plan, result.duration_s, 0.0))
    lines += map(_who, result.coverage().whos())
    return "\n".join(lines)


def _who(who: WhoCoverage) -> str:
    """How much of the take had a good pack, and when there was none."""
    spans = [
        f"{wording.watching(s.start_s)} for {wording.lasted(s.length_s)}" for s in who.uncovered
    ]
    without = f", UNCOVERED at {', '.join(spans)}" if spans else ""
    return f"{who.who}: covered {words.percent(who.covered_fraction)} of the take{without}"

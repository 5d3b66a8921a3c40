"""What a scan found in one take, as text for a terminal."""

from __future__ import annotations

import sys
from typing import Final

from app.cli import terminal
from app.cli.watch_text import summary
from app.style import wording
from engine.alarms.coverage_timeline import WhoCoverage
from engine.model.early_signs import SIGN_WORDS
from engine.model.messages import Severity
from engine.model.number_text import number_or_dash
from engine.pipeline.scan_document import document
from engine.pipeline.scan_result import ScanResult
from engine.pipeline.sign_records import signs_before
from engine.report.content import words
from engine.report.content.from_scan import timecode_from
from engine.session.records import SignRecord

_LEVELS: Final = ("integrated_lufs", "momentary_max_lufs", "true_peak_max_dbtp", "noise_floor_dbfs")


def as_text(result: ScanResult) -> str:
    """The take, its tracks, the worst incident first, and who was covered."""
    info = result.info
    rate = f"{info.sample_rate_hz / 1000:g} kHz"
    lines = [f"{info.name}: {wording.watching(result.duration_s)}, {rate}"]
    start = f"timecode {result.timecode(0.0)} at {result.frame_rate}"
    lines.append(f"{start}, from {timecode_from(result)}")
    lines.append(
        f"{'track':>5}  {'name':<24} {'LUFS':>6} {'max M':>6} {'dBTP':>6} {'floor':>6}  present"
    )
    for row in document(result)["tracks"]:
        numbers = " ".join(f"{number_or_dash(row[key]):>6}" for key in _LEVELS)
        present = row["present_fraction"]
        share = wording.NO_LEVEL if present is None else f"{100 * present:.0f} %"
        lines.append(f"{row['track']:>5}  {row['name'][:24]:<24} {numbers}  {share:>7}")
    lines.append(summary(result.incidents, result.plan, result.duration_s, 0.0, result.timecode))
    lines += map(_who, result.coverage().whos())
    lines += (_sign(sign, result) for sign in result.signs)
    return "\n".join(lines)


def _sign(sign: SignRecord, result: ScanResult) -> str:
    """What changed slowly on which tracks, since when, and which incidents came of it."""
    names = {track.input: f"{track.input} {track.label}" for track in result.plan.tracks}
    told = f"early sign: {SIGN_WORDS[sign.kind].what} since {result.timecode(sign.since_s)}"
    before = [
        f"{incident.fault.value} at {result.timecode(incident.onset_s)}"
        for incident in result.incidents
        if sign in signs_before(incident, result.signs)
    ]
    what = f", before {', '.join(before)}" if before else ""
    return f"{told} on {', '.join(names[n] for n in sign.tracks)}{what}"


def _who(who: WhoCoverage) -> str:
    """How much of the take had a good pack, and when there was none."""
    spans = [
        f"{wording.watching(s.start_s)} for {wording.lasted(s.length_s)}" for s in who.uncovered
    ]
    alone = terminal.paint("NO BACKUP", Severity.RED, sys.stdout)
    without = f", {alone} at {', '.join(spans)}" if spans else ""
    return (
        f"{who.who}: a usable track for {words.percent(who.covered_fraction)} of the take{without}"
    )

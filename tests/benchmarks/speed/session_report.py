"""Times the report of a synthetic session: wall time and size of each form.

    python -m tests.benchmarks.speed report [--hours 2] [--tracks 16] [--incidents 300] [--keep DIR]

To reach: two hours of 16 tracks in under 20 s, every file under 10 MB. The session has no sound,
as a live one; with --sound each incident gets a waveform of noise, as after a scan.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from app.report.write import Files, session_section, write_report
from engine.model.commands import Acknowledge, Standby
from engine.report.content.report_data import Entry, Excerpt, Section
from engine.report.content.sections import pictured, with_excerpts
from tests.support.sample_session import SessionWriter, crew_plan, many_incidents


def write_session(folder: Path, hours: float, tracks: int, incidents: int) -> None:
    """A night of trouble: faults all over, most of them seen, some gaps, marks and a standby."""
    plan = crew_plan(tracks)
    duration_s = 3600.0 * hours
    writer = SessionWriter(folder, plan)
    with writer.at_once():
        writer.run(0.0, duration_s)
        writer.levels(round(duration_s))
        for number, incident in enumerate(many_incidents(plan, incidents, duration_s)):
            seen_s = incident.onset_s + 4.0 + number % 9
            writer.incident(incident, [("seen", seen_s, None)])
            writer.action(Acknowledge(incident.id), seen_s)
        for share in (0.2, 0.5, 0.8):
            writer.mark("slate", share * duration_s)
            writer.gap("audio", share * duration_s + 60.0, 0.3, 0, "overflow")
        writer.action(Standby(True), 0.4 * duration_s)
        writer.action(Standby(False), 0.45 * duration_s)
    writer.close()


def with_noise(section: Section) -> Section:
    """The section with a waveform for each picture."""
    rng = np.random.default_rng(1)
    shown = pictured(section.entries)
    return replace(
        section, entries=with_excerpts(section.entries, {e.number: _noise(e, rng) for e in shown})
    )


def _noise(entry: Entry, rng: np.random.Generator) -> Excerpt:
    high = np.abs(rng.standard_normal(1000)).astype(np.float32) * 0.1
    level = (-30 + 5 * rng.standard_normal(100)).astype(np.float32)
    return Excerpt(entry.start_s - 5.0, 0.1, level, False, 0.01, -high, high)


def main() -> None:
    """Write one session and its report, and print what that took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--tracks", type=int, default=16)
    parser.add_argument("--incidents", type=int, default=300)
    parser.add_argument("--sound", action="store_true")
    parser.add_argument("--paper", default="a4")
    parser.add_argument("--keep", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_session(folder, given.hours, given.tracks, given.incidents)
        begun = time.perf_counter()
        section = session_section(folder)
        read_s = time.perf_counter() - begun
        if given.sound:
            section = with_noise(section)
        target = Files.all_in(given.keep or folder / "report")
        print(f"{given.hours:g} h, {given.tracks} tracks, {given.incidents} incidents")
        print(f"{'':<10} {'wall':>8} {'CPU':>8} {'size':>9}")
        print(f"{'read log':<10} {read_s:6.2f} s")
        whole_s, cpu_s = read_s, 0.0
        for kind in ("html", "csv", "json", "pdf"):
            path: Path = getattr(target, kind)
            begun, cpu = time.perf_counter(), time.process_time()
            write_report([section], Files(**{kind: path}), paper=given.paper)
            took_s, used_s = time.perf_counter() - begun, time.process_time() - cpu
            whole_s, cpu_s = whole_s + took_s, cpu_s + used_s
            size_mb = path.stat().st_size / 1e6
            print(f"{kind:<10} {took_s:6.2f} s {used_s:6.2f} s {size_mb:6.2f} MB")
        print(f"{'all':<10} {whole_s:6.2f} s {cpu_s:6.2f} s")

"""Report sections with known contents, and strategies for texts that files may bring along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import strategies as st

from engine.alarms.coverage_timeline import CoverageTimeline
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.messages import Fault, Incident, Kind, PackLevel, Severity
from engine.model.tracks import Plan, Track
from engine.pipeline.level_history import LevelHistory
from engine.report.content.report_data import Done, Excerpt, Section, TrackFigures
from engine.report.content.sections import entries

START_S = 21 * 3600.0
DURATION_S = 600.0
PLAN = Plan(
    (
        Track(1, "Foreman main", who="Foreman", level=PackLevel.MAIN, pack="1", placement="chest"),
        Track(2, "Foreman safety", who="Foreman", level=PackLevel.SAFETY, pack="2"),
        Track(3, "Boom scaffold", Kind.BOOM),
    ),
    "Raising the bell",
    production="The new bell",
)

nasty_texts = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        [
            "<script>alert(1)</script>",
            '"><img src=x onerror=alert(1)>',
            "a & b &amp; c",
            "</td></table>",
            "]]>",
            "{{ x }}",
            '=HYPERLINK("http://example.invalid")',
            "+1",
            "-2+3",
            "@SUM(A1)",
            "\tTAB",
            "'already",
            'say "hello", twice',
            "a;b,c",
        ]
    ),
).filter(lambda text: "\x00" not in text and "\r" not in text and "\n" not in text)
"""Plans refuse line breaks; what a recorder writes has none left when it was read."""


def incident(number: int = 1, track: int | None = 1, **changes: Any) -> Incident:
    """A red muted track from 100 to 130 s, or with what is changed."""
    usual = Incident(
        id=number,
        track=track,
        fault=Fault.MUTED,
        severity=Severity.RED,
        onset_s=100.0,
        amber_s=100.5,
        red_s=102.0,
        end_s=130.0,
        detail="digital zero",
    )
    return replace(usual, **changes)


def timecode(at_s: float) -> str:
    """25 frames a second from nine in the evening."""
    return label_at(START_S + at_s, FRAME_RATES["25"])


def section(
    incidents: Sequence[Incident] = (),
    plan: Plan = PLAN,
    done: Mapping[int, Sequence[Done]] | None = None,
    duration_s: float = DURATION_S,
    **changes: Any,
) -> Section:
    """A section of ten minutes; three tracks at about −30 dBFS."""
    coverage = CoverageTimeline(plan.tracks, incidents, duration_s)
    levels = np.full((int(duration_s), len(plan.tracks)), -30.0, dtype=np.float32)
    usual = Section(
        name="tower.wav",
        plan=plan,
        sample_rate_hz=48_000,
        duration_s=duration_s,
        frame_rate="25",
        timecode=timecode,
        timecode_from="the file's time reference",
        timecode_origin="file",
        entries=entries(plan, incidents, coverage, done or {}),
        tracks=tuple(TrackFigures(track, integrated_lufs=-24.1) for track in plan.tracks),
        whos=coverage.whos(),
        history=LevelHistory(1.0, levels - 3.0, levels),
        start_s=START_S,
    )
    return replace(usual, **changes)


def excerpt(start_s: float, *, wave: bool = True) -> Excerpt:
    """Ten seconds around an onset, quiet before and silent after."""
    low = np.r_[np.full(500, -0.04), np.zeros(500)].astype(np.float32)
    level = np.r_[np.full(50, -30.0), np.full(50, -200.0)].astype(np.float32)
    if not wave:
        return Excerpt(start_s, 0.1, level, is_peak=True)
    return Excerpt(start_s, 0.1, level, False, 0.01, low, -low)

"""The picture of a whole take."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Severity
from engine.report.content.report_data import Break, Note
from engine.report.layout.drawing import Box, Drawing, Path, Words
from engine.report.layout.palette import AMBER, AMBER_GROUND, BREAK_GROUND, PAPER, RED
from engine.report.layout.timeline import LEFT, WIDTH, legend, tick_times, timeline
from tests.support.sample_report import DURATION_S, incident, section


def x_of(at_s: float) -> float:
    """Where that moment lies in the picture."""
    return LEFT + at_s / DURATION_S * (WIDTH - LEFT)


def boxes(drawing: Drawing, fill: str) -> list[Box]:
    """Its boxes of that colour."""
    return [s for s in drawing.shapes if isinstance(s, Box) and s.fill == fill]


def strokes(drawing: Drawing, colour: str) -> list[Path]:
    """Its lines of that colour."""
    return [s for s in drawing.shapes if isinstance(s, Path) and s.stroke == colour]


def texts(drawing: Drawing) -> list[str]:
    """All that is written in it."""
    return [s.text for s in drawing.shapes if isinstance(s, Words)]


def test_an_incident_lies_at_its_time() -> None:
    """Its bar goes from onset to end, with its number, in its track's row."""
    drawing = timeline(section([incident(onset_s=100.0, end_s=130.0)]))
    (bar,) = boxes(drawing, RED)
    assert bar.x == pytest.approx(x_of(100.0))
    assert bar.x + bar.width == pytest.approx(x_of(130.0))
    assert "1" in texts(drawing)


def test_severities_differ_without_colour() -> None:
    """Red is solid, amber has slanted lines, uncovered is red with white lines across."""
    amber = timeline(section([incident(severity=Severity.AMBER, red_s=None)]))
    red = timeline(section([incident()]))
    uncovered = timeline(section([incident(uncovered=True)]))
    assert strokes(amber, AMBER)
    assert boxes(amber, AMBER_GROUND)
    assert not strokes(red, AMBER)
    assert not strokes(red, PAPER)
    assert strokes(uncovered, PAPER)


@given(st.floats(0.0, DURATION_S))
def test_the_shortest_incident_is_seen_and_stays_inside(onset_s: float) -> None:
    """A tenth of a second is drawn at least two units wide, and never over the edge."""
    end_s = min(onset_s + 0.1, DURATION_S)
    drawing = timeline(section([incident(onset_s=onset_s, end_s=end_s)]))
    (bar,) = boxes(drawing, RED)
    assert bar.width >= 2.0
    assert bar.x + bar.width <= WIDTH + 1e-9


def test_a_fault_of_several_tracks_is_drawn_on_each() -> None:
    """A whole receiver's incident has a bar in each of its rows."""
    drawing = timeline(section([incident(track=None, tracks=(1, 3))]))
    assert len({box.y for box in boxes(drawing, RED)}) == 2


def test_breaks_and_marks_are_drawn() -> None:
    """A gap is a hatched ground over all rows, a mark is a line with its words."""
    made = section(breaks=(Break(60.0, 90.0, "lost"),), marks=(Note(300.0, "slate 4"),))
    drawing = timeline(made)
    (ground,) = boxes(drawing, BREAK_GROUND)
    assert ground.x == pytest.approx(x_of(60.0))
    assert "slate 4" in texts(drawing)


@given(st.floats(0.5, 50_000.0), st.floats(0.0, 86_000.0))
def test_ticks_are_few_and_inside(duration_s: float, start_s: float) -> None:
    """Never more than eight moments, all within the take."""
    ticks = tick_times(section(duration_s=duration_s, start_s=start_s))
    assert len(ticks) <= 8
    assert all(0.0 <= t <= duration_s for t in ticks)


def test_ticks_have_round_labels() -> None:
    """On the axis of a take that begins at 20:59:53 stand whole minutes, not odd seconds."""
    made = section(start_s=20 * 3600 + 59 * 60 + 53)
    assert tick_times(made)[0] == pytest.approx(7.0)


def test_a_take_without_sound_has_a_picture() -> None:
    """No second of level, no length: rows and names are still there."""
    made = section(duration_s=0.0)
    assert "1 Foreman main" in texts(timeline(made))


def test_the_legend_names_every_pattern() -> None:
    """Each pattern is explained in words."""
    assert {"red", "amber", "mark", "not watched"} <= set(texts(legend()))

"""The rows of the history, and their filter."""

from __future__ import annotations

from app.models import history_rows
from engine.model.crew_notes import CrewNotes, Remark
from engine.model.messages import Fault, Severity
from engine.session.plan_history import PlanHistory
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
DESK = CrewNotes(
    marks=(Remark(fake_client.NOW_S - 60, "take two"),),
    notes=(Remark(fake_client.NOW_S, "new capsule", 2),),
)
INCIDENTS = (
    fake_client.incident(
        1, 7, Fault.MUTED, Severity.RED, 90, end_s=fake_client.NOW_S - 80, covered_by=8
    ),
    fake_client.incident(2, 9, Fault.SILENT, Severity.AMBER, 30, detail="never heard"),
    fake_client.incident(3, None, Fault.MUTED, Severity.RED, 20, tracks=(5, 6, 7, 8)),
)
PLANS = PlanHistory(((0.0, PLAN),))
ROWS = history_rows.rows(PLANS, DESK, INCIDENTS, lambda at_s: f"at {at_s - fake_client.NOW_S:+g}")


def test_newest_first_with_marks_between() -> None:
    """Incidents and marks stand in one list by time, the newest on top."""
    assert [row.fault for row in ROWS] == ["muted", "silent", "mark", "muted"]


def test_times_are_as_the_clock_names_them() -> None:
    """Of incidents their onset, of marks their moment."""
    assert [row.cells[0] for row in ROWS] == ["at -20", "at -30", "at -60", "at -90"]


def test_cells_tell_who_how_long_and_what_was_noted() -> None:
    """Track by name, how long it lasted or that it still does, cover, detail and notes."""
    assert ROWS[3].cells[1:6] == ("7 Foreman main", "muted", "red", "0:10", "backup 8")
    assert ROWS[1].cells[4:] == ("still on", "", "never heard · new capsule")
    assert ROWS[0].cells[1] == "tracks 5–8"
    assert ROWS[2].cells[6] == "take two"


def test_filters_by_track_and_fault() -> None:
    """A receiver's incident counts for each of its tracks; both filters hold together."""
    assert history_rows.matching(ROWS, None, "") == ROWS
    assert [r.severity for r in history_rows.matching(ROWS, 7, "")] == [Severity.RED, Severity.RED]
    assert history_rows.matching(ROWS, 9, "muted") == ()
    assert [r.fault for r in history_rows.matching(ROWS, None, "mark")] == ["mark"]

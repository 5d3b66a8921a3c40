"""What failed how often, from incidents made by hand."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from engine.model.commands import FreshBattery
from engine.report.content.crew_figures import PACK, failure_counts, kit_figures
from engine.report.content.from_session import read_session
from engine.report.content.report_data import Section
from engine.report.content.sections import report
from engine.report.formats.crew_table import HEAD, crew_spreadsheet
from tests.support.sample_report import incident
from tests.support.sample_session import SessionWriter, crew_plan

PLAN = crew_plan(8)


def night(folder: Path) -> Section:
    """Pack 1 failed twice, seen after 4 s once; a fresh battery an hour before."""
    writer = SessionWriter(folder, PLAN)
    writer.run(0.0, 600.0)
    writer.action(FreshBattery(1, at_s=10.0), 10.0, "assistant")
    writer.incident(incident(1, onset_s=100.0, end_s=130.0), [("seen", 104.0, None)])
    writer.incident(incident(2, onset_s=300.0, end_s=310.0), [])
    writer.close()
    return read_session(folder).section


def test_a_pack_is_one_row_with_its_medians(tmp_path: Path) -> None:
    """Failures, first onset, battery's age, time to be seen and to be over."""
    (one,) = kit_figures(night(tmp_path))
    assert (one.what, one.name, one.failures) == (PACK, "1", 2)
    assert (one.first_s, one.battery_s, one.seen_s, one.mended_s) == (100.0, 90.0, 4.0, 20.0)
    assert one.earlier is None


def test_earlier_nights_of_the_same_kit_are_counted(tmp_path: Path) -> None:
    """A pack that was there and held counts as none; one that was not there is not known."""
    section = night(tmp_path)
    counts = failure_counts(section)
    assert counts[PACK, "1"] == 2
    assert counts[PACK, "2"] == 0
    (one,) = kit_figures(section, [counts, {(PACK, "1"): 0}, {}])
    assert one.earlier == 2


def test_the_table_is_read_back(tmp_path: Path) -> None:
    """By Python's csv: heads and one row."""
    text = crew_spreadsheet(report([night(tmp_path)], "us"), bom=False)
    head, row = list(csv.reader(io.StringIO(text, newline="")))
    assert tuple(head) == HEAD
    assert row[1:4] == ["pack", "1", "2"]

"""What a report tells beside the alarms, from a log with known rows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from engine.model.early_signs import EarlySign, SignEvent, SignKind
from engine.model.pickups import Pickup
from engine.model.round_state import Heard
from engine.report.content import words
from engine.report.content.beside_alarms import heard_before, longest_unheard_s
from engine.report.content.crew_figures import failure_counts
from engine.report.content.from_session import read_session
from engine.report.content.report_data import Section
from engine.report.content.sections import report
from engine.report.formats.json_document import document
from engine.report.layout.beside import beside
from engine.report.layout.blocks import Heading, Pictures, Table
from engine.session.outlook_lines import listened_lines, pickup_lines, sign_lines
from tests.support.sample_report import incident
from tests.support.sample_session import SessionWriter, crew_plan

PLAN = crew_plan(8)


@pytest.fixture
def section(tmp_path: Path) -> Section:
    """A pack that had gaps before it died, whom the boom heard; two rounds."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, 600.0)
    with writer.at_once():
        writer.levels(600)
    writer.incident(incident(uncovered=True), [("seen", 104.0, None)])
    sign = EarlySign(1, SignKind.GAPS, (1,), 40.0, 0.0, 3.0)
    boom = Pickup("Foreman", 7, 14.0, -6.0, 0.0031, 8, 90.0)
    later = Pickup("Foreman", 8, 30.0, -6.0, 0.0031, 8, 400.0)
    heard = [Heard(1, 10.0, 18.0), Heard(1, 310.0, 318.0, right=False, word="rustle")]
    writer.lines(
        [
            *sign_lines([SignEvent(sign, 60.0, began=True)]),
            *pickup_lines([boom, later]),
            *listened_lines(heard),
        ]
    )
    writer.close()
    return read_session(tmp_path).section


def test_an_incident_names_the_signs_before_it(section: Section) -> None:
    """The gaps on its track, since when."""
    (entry,) = section.entries
    assert [(sign.kind, sign.since_s) for sign in entry.signs] == [(SignKind.GAPS, 40.0)]


def test_who_heard_them_is_offered_instead(section: Section) -> None:
    """The boom that heard the performer before, with level and delay; not who did afterwards."""
    (entry,) = section.entries
    assert entry.heard_on is not None
    text = words.instead(entry, section)
    assert text.startswith("no backup track; track 7 ")
    assert text.endswith("14 dB over its own sound, +3.1 ms")


def test_the_blocks_and_the_json_have_it_all(section: Section) -> None:
    """A table each; the JSON by ten seconds."""
    headings = [block.text for block in beside(section) if isinstance(block, Heading)]
    assert headings == [
        "Early signs",
        "Listened to",
        "Who was heard on which other track",
        "For the crew: what to fix",
    ]
    tables = [block for block in beside(section) if isinstance(block, Table)]
    assert [cell.text for cell in tables[1].rows[0]][1:3] == ["2", "5 min 00 s"]
    assert "rustle" in tables[1].rows[0][3].text
    (made,) = document(report([section], "us"))["sections"]
    assert [one["delay_ms"] for one in made["pickups"]] == [3.1, 3.1]
    assert made["incidents"][0]["heard_on"]["track"] == 7
    assert made["listened"][1]["word"] == "rustle"


def test_the_crew_gets_a_chart_once_there_are_earlier_sessions(section: Section) -> None:
    """Nothing to compare with: none."""
    assert not [block for block in beside(section) if isinstance(block, Pictures)]
    again = replace(section, earlier=(failure_counts(section),))
    (chart,) = (block for block in beside(again) if isinstance(block, Pictures))
    assert chart.drawings[0].title.startswith("Failures in this session")


def test_without_any_of_it_nothing_is_said(tmp_path: Path) -> None:
    """A log that has none of it makes no heading."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, 60.0)
    writer.close()
    assert not list(beside(read_session(tmp_path).section))


def test_the_longest_time_without_an_ear() -> None:
    """From the start, between two rounds, or to the end."""
    heard = [Heard(1, 52.0, 60.0), Heard(1, 292.0, 300.0), Heard(2, 0.0, 8.0)]
    assert longest_unheard_s(heard, 1, 400.0) == 240.0
    assert longest_unheard_s(heard, 2, 400.0) == 392.0


def test_what_was_heard_long_before_is_not_offered() -> None:
    """Two minutes, as on the board."""
    old = Pickup("Foreman", 7, 14.0, -6.0, 0.003, 8, 100.0)
    assert heard_before("Foreman", 219.0, [old]) == old
    assert heard_before("Foreman", 221.0, [old]) is None
    assert heard_before("Mason", 110.0, [old]) is None

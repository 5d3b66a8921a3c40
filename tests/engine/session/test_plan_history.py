"""What happened before a plan was changed keeps the names it had then."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from engine.model.messages import Fault, Incident, PackLevel, Severity
from engine.model.tracks import Plan, Track
from engine.report.content import words
from engine.report.content.from_session import read_session
from engine.session.plan_history import PlanHistory
from engine.session.reader import SessionReader
from tests.support.sample_session import SessionWriter

FIRST = Plan(
    (
        Track(1, "Boom north", pack="1"),
        Track(2, "Boom south", pack="2"),
        Track(3, "Rigger main", who="Rigger", level=PackLevel.MAIN, pack="5"),
        Track(4, "Rigger safety", who="Rigger", level=PackLevel.SAFETY, pack="6"),
    )
)
SWAPPED = Plan(
    (
        replace(FIRST.tracks[1], input=1),
        replace(FIRST.tracks[0], input=2),
        FIRST.tracks[2],
        replace(FIRST.tracks[3], pack="9", name="Rigger spare"),
    )
)


def muted(number: int, track: int, onset_s: float) -> Incident:
    """Ten seconds of a mute."""
    times = (onset_s, onset_s + 0.5, onset_s + 2.0, onset_s + 10.0)
    return Incident(number, track, Fault.MUTED, Severity.RED, *times)


def session(folder: Path) -> Path:
    """Two booms are swapped and a pack is changed at 50 s; each time before and after is bad."""
    writer = SessionWriter(folder, FIRST)
    writer.run(0.0, 100.0)
    for number, (track, onset_s) in enumerate(((1, 10.0), (3, 20.0), (1, 60.0), (3, 70.0))):
        writer.incident(muted(number, track, onset_s))
    writer.plan(50.0, SWAPPED)
    writer.close()
    return folder


def test_older_incidents_keep_their_names(tmp_path: Path) -> None:
    """Rows name mic and replacement as the plan did then, and the report says when it changed."""
    section = read_session(session(tmp_path)).section
    assert [entry.track.label for entry in section.entries if entry.track] == [
        *("Boom north", "Rigger main", "Boom south", "Rigger main"),
    ]
    uses = [words.instead(entry, section) for entry in section.entries]
    assert uses[1] == "track 4 Rigger safety (pack 6)"
    assert uses[3] == "track 4 Rigger spare (pack 9)"
    (changed,) = [line for line in section.honest if "plan was changed" in line]
    assert "at 21:00:50:00" in changed
    assert "input 1 “Boom north” lav pack 1 became “Boom south” lav pack 2" in changed


def test_coverage_goes_by_the_plan_of_each_moment(tmp_path: Path) -> None:
    """Packs that belonged to somebody only before the change cover only then."""
    writer = SessionWriter(tmp_path, FIRST)
    writer.run(0.0, 100.0)
    writer.incident(replace(muted(1, 3, 10.0), end_s=90.0))
    alone = Plan((*FIRST.tracks[:3], Track(4, "Room")))
    writer.plan(50.0, alone)
    writer.close()
    (who,) = read_session(tmp_path).section.whos
    assert [(s.start_s, s.end_s, s.use) for s in who.uncovered] == [(50.0, 90.0, None)]


def test_a_log_of_before_has_one_plan(tmp_path: Path) -> None:
    """Without the table all happened by the plan that the log has."""
    writer = SessionWriter(tmp_path, FIRST)
    for statement in ("DROP VIEW incident_readable", "DROP VIEW level_readable"):
        writer._log.execute(statement)
    writer._log.execute("DROP TABLE plan_track")
    writer._log.execute("DROP TABLE plan_version")
    writer.close()
    with SessionReader(tmp_path) as log:
        assert log.plans().at(70.0).tracks == FIRST.tracks


def test_a_track_that_left_is_still_known() -> None:
    """By the newest plan that has it; one that never was is None."""
    history = PlanHistory(((0.0, FIRST), (50.0, Plan(FIRST.tracks[1:]))))
    left = history.track(1, 60.0)
    assert left is not None
    assert left.label == "Boom north"
    assert history.track(9, 60.0) is None

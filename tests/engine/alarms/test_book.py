"""The book of alarms: families, names, order."""

from __future__ import annotations

import numpy as np
import pytest

from engine.alarms import operator
from engine.alarms.book import Book
from engine.detectors.base import condition
from engine.model.fault_remedies import FAULTS
from engine.model.messages import EventKind, Fault, Kind, Severity
from engine.model.tracks import Scene, Track
from tests.support.alarm_desk import Desk, chimes, kinds, order, stand


def test_one_loss_is_one_incident(desk: Desk) -> None:
    """A silent track that turns out muted is renamed in place, its onset and raises kept."""
    desk.fail(Fault.SILENT, 1)
    desk.run(11.0)
    before = desk.alarm(Fault.SILENT, 1).incident
    desk.fail(Fault.MUTED, 1)
    events = desk.run(1.0)
    after = desk.alarm(Fault.MUTED, 1).incident
    assert kinds(events) == [EventKind.RENAMED]
    assert (after.id, after.onset_s, after.amber_s) == (before.id, 0.0, before.amber_s)
    assert len(desk.incidents(1)) == 1


def test_the_earliest_deadline_counts(desk: Desk) -> None:
    """A loss goes red when the first of its names is due, by that name's own onset."""
    desk.fail(Fault.SILENT, 1)
    desk.run(5.0)
    desk.fail(Fault.MUTED, 1)
    desk.run(3.0)
    incident = desk.alarm(Fault.MUTED, 1).incident
    assert (incident.onset_s, incident.amber_s, incident.red_s) == (
        0.0,
        pytest.approx(5.5),
        pytest.approx(7.0),
    )


def test_the_name_stays_while_the_track_comes_back(desk: Desk) -> None:
    """A muted track that is silent for half a second as it returns ends as muted."""
    desk.fail(Fault.MUTED, 1)
    desk.fail(Fault.SILENT, 1)
    desk.run(3.0)
    desk.mend(Fault.MUTED, 1)
    desk.run(0.4)
    desk.mend(Fault.SILENT, 1)
    desk.run(2.0)
    (incident,) = desk.incidents(1)
    assert incident.fault is Fault.MUTED


def test_an_end_is_known_before_its_off_delay_is_over(desk: Desk) -> None:
    """An incident whose condition is gone has an end, though the alarm stands for a moment."""
    desk.fail(Fault.MUTED, 1)
    desk.run(3.0)
    assert desk.incidents(1)[0].end_s is None
    desk.mend(Fault.MUTED, 1)
    desk.run(0.5)
    assert desk.alarm(Fault.MUTED, 1)
    assert desk.incidents(1)[0].end_s == pytest.approx(3.0)


def test_the_detail_follows_the_fault(desk: Desk) -> None:
    """What was seen is brought up to date while the fault goes on."""
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    desk.seen = "three runs of zeros"
    desk.run(0.1)
    assert desk.alarm(Fault.MUTED, 1).incident.detail == "three runs of zeros"


def test_the_detail_is_that_of_the_track(desk: Desk) -> None:
    """Each of two that fail at once says what was seen on it."""
    desk.seen_on = {0: "zeros", 2: "a value that stays"}
    desk.fail(Fault.MUTED, 1, 3)
    desk.run(1.0)
    said = [desk.alarm(Fault.MUTED, track).incident.detail for track in (1, 3)]
    assert said == ["zeros", "a value that stays"]


def test_an_alarm_ends_where_another_of_its_family_is_not_looked_for(desk: Desk) -> None:
    """On an ambience no `crackle` is looked for, and so it is never known there."""
    desk.not_looked_for(Fault.CRACKLE, 4)
    desk.fail(Fault.DROPOUT, 4)
    desk.run(1.0)
    desk.mend(Fault.DROPOUT, 4)
    desk.run(15.0)
    (incident,) = desk.incidents(4)
    assert incident.end_s == pytest.approx(1.0)


def test_each_track_shows_the_worst_that_stands_on_it(desk: Desk) -> None:
    """Of two faults the red one counts, of none nothing; a lost input stands on all."""
    desk.fail(Fault.HUM, 3, 5, may_be_red=False)
    desk.fail(Fault.MUTED, 3)
    desk.run(6.0)
    assert desk.book.severities().tolist() == [0, 0, 2, 0, 1]
    desk.fail(Fault.INPUT_LOST)
    desk.run(3.0)
    assert desk.book.severities().tolist() == [2, 2, 2, 2, 2]
    desk.mend(Fault.INPUT_LOST)
    desk.mend(Fault.MUTED, 3)
    desk.mend(Fault.HUM, 3, 5)
    desk.run(10.0)
    assert not desk.book.severities().any()


def test_amber_and_red_in_one_tick_chime_once(desk: Desk) -> None:
    """A fault that is known late is due for both at once: only red is heard."""
    desk.run(20.0)
    desk.fail(Fault.MUTED, 3, onset_s=5.0)
    events = desk.run(0.1)
    assert kinds(events) == [EventKind.RAISED, EventKind.ESCALATED]
    assert kinds(chimes(events)) == [EventKind.ESCALATED]


@pytest.mark.parametrize(("first", "second"), [(0, 4), (2, 1)])
def test_a_fault_about_two_names_both_inputs(first: int, second: int) -> None:
    """Whichever of the two it is told of, and whichever comes first in the plan."""
    tracks = tuple(Track(n + 1, kind=Kind.BOOM) for n in range(5))
    rule = next(rule for rule in FAULTS if rule.fault is Fault.DUPLICATE)
    active = np.arange(5) == second
    at_s = np.zeros(5)
    partners = np.where(active, first, -1)
    said = condition(active, np.ones(5, dtype=np.bool_), at_s, at_s + 60.0, partners=partners)
    book = Book(Scene(tracks, 48_000), (rule,))
    book.step({rule.name: said}, lambda *_: "", 59.9, 60.0)
    (alarm,) = book.alarms()
    assert alarm.incident.tracks == tuple(sorted((first + 1, second + 1)))


def test_chattering_is_shown_as_unstable_and_not_heard_each_time(desk: Desk) -> None:
    """From its third raise in a minute on (ISA-18.2) an alarm is unstable and no longer chimes."""
    heard = []
    for _ in range(5):
        desk.fail(Fault.MUTED, 1)
        heard.append(len(chimes(desk.run(1.0))))
        unstable = desk.alarm(Fault.MUTED, 1).unstable
        desk.mend(Fault.MUTED, 1)
        desk.run(2.0)
    assert heard == [1, 1, 0, 0, 0]
    assert unstable
    assert len(desk.book.alarms()) == 1


def test_an_alarm_that_calmed_down_is_heard_again(desk: Desk) -> None:
    """A minute after it chattered, an alarm chimes as any other."""
    for _ in range(3):
        desk.fail(Fault.MUTED, 1)
        desk.run(1.0)
        desk.mend(Fault.MUTED, 1)
        desk.run(2.0)
    desk.run(60.0)
    desk.fail(Fault.MUTED, 1)
    assert chimes(desk.run(1.0))


def test_most_urgent_first(desk: Desk) -> None:
    """Uncovered comes first, then red, then amber, then what has returned, then what is hidden."""
    desk.fail(Fault.MUTED, 4)
    desk.run(0.6)
    desk.mend(Fault.MUTED, 4)
    desk.run(2.0)
    shelved = stand(desk, track=5)
    operator.shelve(desk.book, shelved.incident.id, None, desk.now_s)
    desk.fail(Fault.MUTED, 1)
    desk.run(3.0)
    desk.fail(Fault.MUTED, 3)
    desk.run(0.6)
    assert order(desk) == [3, 1, 4, 5]
    assert desk.alarm(Fault.MUTED, 3).incident.severity is Severity.AMBER


def test_the_older_of_two_alike_comes_first(desk: Desk) -> None:
    """Among equals the alarm that has stood longest is first."""
    desk.fail(Fault.MUTED, 5)
    desk.run(1.0)
    desk.fail(Fault.MUTED, 4)
    desk.run(5.0)
    assert order(desk) == [5, 4]


def test_unknown_holds(desk: Desk) -> None:
    """While nothing is known no alarm begins, escalates or ends."""
    stand(desk)
    desk.unknown = True
    assert desk.run(10.0) == []
    assert desk.alarm(Fault.MUTED, 1).incident.severity is Severity.AMBER


def test_a_book_that_is_to_remember_nothing_keeps_no_incident_that_is_over() -> None:
    """After 200 alarms that came and went, what is kept is what stands, and numbers go on."""
    desk = Desk(Track(1), Track(2), Track(3), remembers=0)
    desk.fail(Fault.MUTED, 2)
    for _ in range(200):
        desk.fail(Fault.MUTED, 1)
        desk.run(1.0)
        desk.mend(Fault.MUTED, 1)
        desk.run(2.0)
    assert [i.track for i in desk.book.incidents()] == [2]
    assert desk.book.last_id == 201

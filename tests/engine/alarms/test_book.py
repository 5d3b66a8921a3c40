"""The book of alarms: families, coverage, and what the crew does."""

from __future__ import annotations

import numpy as np
import pytest

from engine.alarms import operator
from engine.alarms.book import Book
from engine.alarms.book_checkpoint import restore, save
from engine.alarms.common_cause import CauseAlarms
from engine.detectors.base import condition
from engine.model.fault_remedies import FAULTS
from engine.model.messages import Alarm, AlarmEvent, EventKind, Fault, Kind, PackLevel, Severity
from engine.model.messages import AlarmState as S
from engine.model.tracks import Scene, Track
from tests.support.alarm_desk import Desk


@pytest.fixture
def desk() -> Desk:
    """A performer with two packs, one with a single pack, a crowd and a boom."""
    return Desk(
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
        Track(3, who="rigger"),
        Track(4, kind=Kind.AMBIENCE),
        Track(5, kind=Kind.BOOM),
    )


def kinds(events: list[AlarmEvent]) -> list[EventKind]:
    """What happened, in order."""
    return [event.kind for event in events]


def chimes(events: list[AlarmEvent]) -> list[AlarmEvent]:
    """What was heard."""
    return [event for event in events if event.audible]


def order(desk: Desk) -> list[int | None]:
    """The inputs of the alarms in the order of the list."""
    return [alarm.incident.track for alarm in desk.book.alarms()]


# ---- families ------------------------------------------------------------------------------------


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


@pytest.mark.parametrize(("track", "rests"), [(1, True), (3, True), (4, False), (5, True)])
def test_in_a_break_packs_and_booms_rest(desk: Desk, track: int, rests: bool) -> None:
    """The place is listened to in a break as well."""
    desk.book.on_break = True
    desk.fail(Fault.MUTED, track)
    desk.run(3.0)
    assert (desk.alarm(Fault.MUTED, track).state is S.SUPPRESSED) is rests


# ---- coverage ------------------------------------------------------------------------------------


def test_the_healthy_pack_is_named(desk: Desk) -> None:
    """A fault on one pack of a performer names the other, until that fails too."""
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    assert desk.alarm(Fault.MUTED, 1).incident.covered_by == 2
    desk.fail(Fault.MUTED, 2)
    desk.run(1.0)
    for track in (1, 2):
        incident = desk.alarm(Fault.MUTED, track).incident
        assert incident.covered_by is None
        assert incident.uncovered


def test_clipping_is_red_only_without_cover(desk: Desk) -> None:
    """Clipping that goes on stays amber while the safety is clean, and is red once it is not."""
    desk.fail(Fault.CLIPPED, 1)
    desk.run(10.0)
    assert desk.alarm(Fault.CLIPPED, 1).incident.severity is Severity.AMBER
    desk.fail(Fault.MUTED, 2)
    desk.run(0.7)
    incident = desk.alarm(Fault.CLIPPED, 1).incident
    assert incident.severity is Severity.RED
    assert incident.uncovered


@pytest.mark.parametrize("track", [3, 5])
def test_clipping_without_a_second_pack_goes_red(desk: Desk, track: int) -> None:
    """A single pack or a boom has no cover, so clipping that goes on is red."""
    desk.fail(Fault.CLIPPED, track, may_be_red=False)
    desk.run(1.0)
    assert desk.alarm(Fault.CLIPPED, track).incident.severity is Severity.AMBER
    desk.fail(Fault.CLIPPED, track, may_be_red=True)
    desk.run(0.2)
    assert desk.alarm(Fault.CLIPPED, track).incident.severity is Severity.RED


def test_nothing_is_covered_while_the_input_is_lost(desk: Desk) -> None:
    """Without an input no pack is healthy; once it is back they are again."""
    desk.fail(Fault.INPUT_LOST)
    desk.run(0.1)
    assert [cover.healthy for cover in desk.book.covers()] == [(), ()]
    assert desk.alarm(Fault.INPUT_LOST, None).incident.uncovered
    desk.mend(Fault.INPUT_LOST)
    desk.run(0.1)
    assert [cover.healthy for cover in desk.book.covers()] == [(1, 2), (3,)]


def test_a_pack_out_of_service_covers_nobody(desk: Desk) -> None:
    """A pack that the crew took out is not offered as cover."""
    operator.out_of_service(desk.book, 2, True, 0.0)
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    assert desk.alarm(Fault.MUTED, 1).incident.uncovered


def test_lost_numbers_spoil_a_pack(desk: Desk) -> None:
    """A pack whose samples are no numbers covers nobody."""
    desk.fail(Fault.SAMPLES_LOST, 2, may_be_red=False)
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    assert desk.alarm(Fault.MUTED, 1).incident.covered_by is None


# ---- the crew ------------------------------------------------------------------------------------


def stand(desk: Desk, fault: Fault = Fault.MUTED, track: int = 1) -> Alarm:
    """An alarm that stands, amber."""
    desk.fail(fault, track)
    desk.run(0.6)
    return desk.alarm(fault, track)


def test_seen_amber_is_unseen_again_as_red(desk: Desk) -> None:
    """An acknowledged amber that goes red has to be seen again, and is heard again."""
    alarm = stand(desk)
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    seen = desk.alarm(Fault.MUTED, 1)
    assert (seen.state, seen.seen_s) == (S.ACKNOWLEDGED, pytest.approx(0.6))
    events = desk.run(3.0)
    assert kinds(chimes(events)) == [EventKind.ESCALATED]
    red = desk.alarm(Fault.MUTED, 1)
    assert (red.state, red.seen_s) == (S.UNACKNOWLEDGED, None)


def test_returned_is_kept_until_seen(desk: Desk) -> None:
    """A fault that ended unseen stays in the list until the crew has seen it."""
    alarm = stand(desk)
    desk.mend(Fault.MUTED, 1)
    desk.run(90.0)
    assert desk.alarm(Fault.MUTED, 1).state is S.RETURNED
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    assert desk.book.alarms() == ()
    assert desk.incidents(1)[0].end_s is not None


def test_acknowledging_all_leaves_hidden_alarms(desk: Desk) -> None:
    """All that is shown is acknowledged at once; what is hidden stays unseen."""
    stand(desk, track=1)
    hidden = stand(desk, track=3)
    operator.shelve(desk.book, hidden.incident.id, None, desk.now_s)
    events = operator.acknowledge(desk.book, None, desk.now_s)
    assert kinds(events) == [EventKind.SEEN]
    assert desk.alarm(Fault.MUTED, 3).state is S.SHELVED


def test_an_unknown_incident_changes_nothing(desk: Desk) -> None:
    """A command about an incident that is not there does nothing."""
    stand(desk)
    assert operator.acknowledge(desk.book, 99, 0.0) == []
    assert operator.shelve(desk.book, 99, 1.0, 0.0) == []
    assert operator.unshelve(desk.book, 1, 0.0) == []
    assert operator.out_of_service(desk.book, 99, True, 0.0) == []


@pytest.mark.parametrize(("at_s", "over"), [(5.59, False), (5.6, True), (5.7, True)])
def test_a_shelving_ends_by_itself(desk: Desk, at_s: float, over: bool) -> None:
    """A shelved alarm comes back at its end time, unacknowledged if it still stands."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, 5.0, 0.6)
    events = operator.end_shelving(desk.book, at_s)
    assert kinds(events) == ([EventKind.UNSHELVED] if over else [])
    found = desk.alarm(Fault.MUTED, 1)
    assert found.state is (S.UNACKNOWLEDGED if over else S.SHELVED)
    assert (found.until_s is None) is over


def test_shelving_again_sets_a_new_end(desk: Desk) -> None:
    """The end of a shelving can be moved, and that is logged."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, 5.0, 0.6)
    events = operator.shelve(desk.book, alarm.incident.id, 60.0, 1.0)
    assert kinds(events) == [EventKind.SHELVED]
    assert desk.alarm(Fault.MUTED, 1).until_s == 61.0


def test_shelved_says_nothing_and_is_put_back_by_hand(desk: Desk) -> None:
    """A shelved alarm goes red without a sound; put back, it is heard."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, None, desk.now_s)
    assert chimes(desk.run(5.0)) == []
    assert desk.alarm(Fault.MUTED, 1).incident.severity is Severity.RED
    (event,) = operator.unshelve(desk.book, alarm.incident.id, desk.now_s)
    assert event.audible
    assert event.alarm.state is S.UNACKNOWLEDGED


def test_out_of_service_hides_the_whole_track(desk: Desk) -> None:
    """A track out of service is logged but not heard, until it is put back."""
    operator.out_of_service(desk.book, 1, True, 0.0)
    desk.fail(Fault.MUTED, 1)
    events = desk.run(3.0)
    assert kinds(events) == [EventKind.RAISED, EventKind.ESCALATED]
    assert chimes(events) == []
    assert desk.alarm(Fault.MUTED, 1).state is S.OUT_OF_SERVICE
    (event,) = operator.out_of_service(desk.book, 1, False, desk.now_s)
    assert (event.kind, event.audible) == (EventKind.IN_SERVICE, True)


def test_a_shelved_end_does_not_outlive_the_shelving(desk: Desk) -> None:
    """A shelved track taken out of service and put back carries no end time."""
    alarm = stand(desk)
    operator.shelve(desk.book, alarm.incident.id, 5.0, desk.now_s)
    operator.out_of_service(desk.book, 1, True, desk.now_s)
    operator.out_of_service(desk.book, 1, False, desk.now_s)
    found = desk.alarm(Fault.MUTED, 1)
    assert (found.state, found.until_s) == (S.UNACKNOWLEDGED, None)


def test_old_alarms_do_not_reappear_out_of_service(desk: Desk) -> None:
    """Taking a track out shows only what stands on it, not what ended long ago."""
    alarm = stand(desk)
    desk.mend(Fault.MUTED, 1)
    desk.run(2.0)
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    assert operator.out_of_service(desk.book, 1, True, desk.now_s) == []
    assert desk.book.alarms() == ()


# ---- standby -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fault", "track", "heard"),
    [
        (Fault.MUTED, 1, True),
        (Fault.INPUT_LOST, None, True),
        (Fault.SAMPLES_LOST, None, True),
        (Fault.SAMPLES_LOST, 1, True),
        (Fault.SILENT, 4, False),
        (Fault.CLIPPED, 1, False),
    ],
)
def test_standby_suppresses_all_but_three(
    desk: Desk, fault: Fault, track: int | None, heard: bool
) -> None:
    """While not rolling only muted, input_lost and samples_lost are heard; all is logged."""
    operator.set_standby(desk.book, True, 0.0)
    desk.fail(fault, *([] if track is None else [track]), may_be_red=False)
    events = desk.run(4.0)
    assert EventKind.RAISED in kinds(events)
    assert bool(chimes(events)) is heard
    assert desk.alarm(fault, track).state is (S.UNACKNOWLEDGED if heard else S.SUPPRESSED)


def test_rolling_again_brings_back_what_stands(desk: Desk) -> None:
    """At rolling, an alarm that stands is unacknowledged, though it was seen before standby."""
    alarm = stand(desk, Fault.CLIPPED)
    operator.acknowledge(desk.book, alarm.incident.id, desk.now_s)
    operator.set_standby(desk.book, True, desk.now_s)
    assert desk.alarm(Fault.CLIPPED, 1).state is S.SUPPRESSED
    (event,) = operator.set_standby(desk.book, False, desk.now_s)
    assert (event.kind, event.audible) == (EventKind.UNSUPPRESSED, True)
    back = desk.alarm(Fault.CLIPPED, 1)
    assert (back.state, back.seen_s) == (S.UNACKNOWLEDGED, None)


def test_what_ended_in_standby_does_not_come_back(desk: Desk) -> None:
    """A suppressed alarm whose condition ended is gone from the list, at rolling too."""
    stand(desk, Fault.CLIPPED)
    operator.set_standby(desk.book, True, desk.now_s)
    desk.mend(Fault.CLIPPED, 1)
    desk.run(5.0)
    assert desk.book.alarms() == ()
    assert chimes(operator.set_standby(desk.book, False, desk.now_s)) == []
    assert desk.book.alarms() == ()


def test_a_red_that_ended_in_standby_before_anyone_saw_it_stays_listed(desk: Desk) -> None:
    """It is listed as back until somebody calls it seen; one that had been seen is not."""
    desk.fail(Fault.DEAD_MIC, 4)
    desk.run(12.0)
    alarm = desk.alarm(Fault.DEAD_MIC, 4)
    assert (alarm.incident.severity, alarm.state) == (Severity.RED, S.UNACKNOWLEDGED)
    operator.set_standby(desk.book, True, desk.now_s)
    saved, desk.book = save(desk.book), Book(desk.scene, FAULTS)
    restore(desk.book, saved, FAULTS)  # a restart meanwhile changes nothing
    desk.cause_alarms = CauseAlarms(desk.book)
    desk.mend(Fault.DEAD_MIC, 4)
    desk.run(5.0)
    assert desk.alarm(Fault.DEAD_MIC, 4).state is S.RETURNED
    assert chimes(operator.set_standby(desk.book, False, desk.now_s)) == []
    assert desk.alarm(Fault.DEAD_MIC, 4).state is S.RETURNED
    operator.acknowledge(desk.book, None, desk.now_s)
    assert desk.book.alarms() == ()


def test_a_red_that_was_seen_before_standby_is_over_with_its_end(desk: Desk) -> None:
    """Seen is seen: when it ends in standby nothing stays."""
    desk.fail(Fault.DEAD_MIC, 4)
    desk.run(12.0)
    operator.acknowledge(desk.book, None, desk.now_s)
    operator.set_standby(desk.book, True, desk.now_s)
    desk.mend(Fault.DEAD_MIC, 4)
    desk.run(5.0)
    assert desk.book.alarms() == ()


def test_a_suppressed_silence_that_turns_out_muted_is_heard(desk: Desk) -> None:
    """In standby a silent track is suppressed, but not once it proves muted."""
    operator.set_standby(desk.book, True, 0.0)
    desk.fail(Fault.SILENT, 4)
    desk.run(4.0)
    assert desk.alarm(Fault.SILENT, 4).state is S.SUPPRESSED
    desk.fail(Fault.MUTED, 4)
    events = desk.run(0.2)
    assert chimes(events)
    assert desk.alarm(Fault.MUTED, 4).state is S.UNACKNOWLEDGED


# ---- chattering, order ---------------------------------------------------------------------------


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

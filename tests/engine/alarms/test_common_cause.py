"""Several tracks, one cause, one alarm. Bounds by CONTRACT.md; common practice, no source."""

from __future__ import annotations

import pytest

from engine.alarms import operator
from engine.model.fault_remedies import check_first
from engine.model.messages import AlarmEvent, EventKind, Fault, Incident, Kind, Severity
from engine.model.messages import AlarmState as S
from engine.model.tracks import Track
from tests.support.alarm_desk import Desk


@pytest.fixture
def desk() -> Desk:
    """Three packs on receiver A, two on B; two of A's are one performer's."""
    return Desk(
        Track(1, receiver="A", who="foreman"),
        Track(2, receiver="A", who="foreman"),
        Track(3, receiver="A", who="rigger"),
        Track(4, receiver="B", who="signaller"),
        Track(5, receiver="B", who="ringer"),
    )


def chimes(events: list[AlarmEvent]) -> list[Incident]:
    """What was heard."""
    return [event.alarm.incident for event in events if event.audible]


def cause(desk: Desk) -> Incident:
    """The one incident on several tracks."""
    (found,) = desk.incidents(None)
    return found


def test_a_receiver_is_one_alarm_with_one_chime(desk: Desk) -> None:
    """Tracks of a receiver that fail at once make one alarm, which alone chimes."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    events = desk.run(1.0)
    (heard,) = chimes(events)
    assert heard.track is None
    assert heard.tracks == (1, 2, 3)
    assert "receiver A" in heard.detail
    assert heard.fault is Fault.MUTED
    assert heard.onset_s == 0.0


def test_each_track_keeps_its_own_incident(desk: Desk) -> None:
    """The tracks' incidents stay, with their severities, and carry the receiver's name."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(3.0)
    for track in (1, 2, 3):
        (incident,) = desk.incidents(track)
        assert incident.part_of == "A"
        assert incident.severity is Severity.RED
        assert desk.alarm(Fault.MUTED, track).state is S.SUPPRESSED
    assert desk.book.severities().tolist() == [2, 2, 2, 0, 0]
    assert cause(desk).severity is Severity.RED


def test_one_red_chime(desk: Desk) -> None:
    """The escalation of a gathered fault is heard once."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(1.0)
    (heard,) = chimes(desk.run(3.0))
    assert heard.track is None
    assert heard.severity is Severity.RED


def test_tracks_that_fail_one_after_the_other_are_gathered(desk: Desk) -> None:
    """Within 2.5 s of the first onset, tracks failing within 2 s are one alarm (CONTRACT.md)."""
    desk.fail(Fault.MUTED, 1)
    desk.run(1.0)
    desk.fail(Fault.MUTED, 2)
    desk.run(1.0)
    desk.fail(Fault.MUTED, 3)
    desk.run(0.5)
    found = cause(desk)
    assert found.amber_s is not None
    assert found.amber_s <= 2.5 + 1e-6
    assert found.onset_s == 0.0


def test_more_than_two_seconds_apart_are_alarms_of_their_own(desk: Desk) -> None:
    """A track that follows after more than 2 s is no part of it."""
    desk.fail(Fault.MUTED, 1, 2)
    desk.run(2.1)
    desk.fail(Fault.MUTED, 3)
    desk.run(3.0)
    assert desk.incidents(None) == []


def test_different_names_of_one_loss_are_one_cause(desk: Desk) -> None:
    """Where one track is silent and the others muted, the cause bears the name that tells more."""
    desk.fail(Fault.SILENT, 1)
    desk.fail(Fault.MUTED, 2, 3, onset_s=1.0)
    desk.run(10.0)
    assert cause(desk).fault is Fault.MUTED
    assert cause(desk).onset_s == 0.0


def test_the_whole_input_is_one_alarm(desk: Desk) -> None:
    """When every track fails at once, one alarm speaks for the input, none for a receiver."""
    desk.fail(Fault.MUTED, 1, 2, 3, 4, 5)
    (heard,) = chimes(desk.run(1.0))
    assert cause(desk) is not None
    assert heard.tracks == (1, 2, 3, 4, 5)
    assert {desk.incidents(n)[0].part_of for n in range(1, 6)} == {"input"}


def test_talkback_that_fails_with_the_input_is_part_of_it() -> None:
    """It is no sign of the cause, but its buffer is stuck as well; one that was before is not."""
    for late_s, part_of in ((0.0, "input"), (5.0, None)):
        desk = Desk(*(Track(n, who=f"hauler {n}") for n in (1, 2, 3)), Track(4, kind=Kind.COMMS))
        desk.fail(Fault.STUCK, 4)
        desk.run(late_s)
        desk.fail(Fault.STUCK, 1, 2, 3)
        desk.run(1.0)
        assert cause(desk).tracks == (1, 2, 3)
        assert desk.incidents(4)[0].part_of == part_of


def test_the_input_takes_over_a_receivers_alarm(desk: Desk) -> None:
    """A receiver's alarm is hidden under the input's once the other tracks follow within 2 s."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(1.0)
    desk.fail(Fault.MUTED, 4, 5)
    desk.run(1.0)
    receiver, whole = sorted(desk.incidents(None), key=lambda i: len(i.tracks))
    assert receiver.part_of == "input"
    assert whole.part_of is None
    shown = [a for a in desk.book.alarms() if a.state is S.UNACKNOWLEDGED]
    assert [a.incident.id for a in shown] == [whole.id]


def test_it_dissolves_once_a_track_stays_back(desk: Desk) -> None:
    """When one track is back for good, those still in fault speak for themselves again."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(5.0)
    desk.mend(Fault.MUTED, 1)
    events = desk.run(4.0)
    assert cause(desk).end_s == pytest.approx(5.0)
    assert {i.track for i in chimes(events)} == {2, 3}
    for track in (2, 3):
        assert desk.alarm(Fault.MUTED, track).state is S.UNACKNOWLEDGED
        assert desk.incidents(track)[0].part_of == "A"


def test_what_the_input_lets_go_a_receiver_takes(desk: Desk) -> None:
    """When only one receiver comes back, the other's tracks stay one alarm."""
    desk.fail(Fault.MUTED, 1, 2, 3, 4, 5)
    desk.run(5.0)
    desk.mend(Fault.MUTED, 4, 5)
    events = desk.run(4.0)
    (heard,) = chimes(events)
    assert heard.tracks == (1, 2, 3)
    shown = [a for a in desk.book.alarms() if a.state is S.UNACKNOWLEDGED]
    assert [a.incident.id for a in shown] == [heard.id]


def test_tracks_that_come_back_together_are_silent_about_it(desk: Desk) -> None:
    """Tracks back within 2 s of each other end with their cause, without a chime or a row left."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(5.0)
    desk.mend(Fault.MUTED, 1)
    events = desk.run(1.9)
    desk.mend(Fault.MUTED, 2, 3)
    events += desk.run(5.0)
    assert chimes(events) == []
    (left,) = desk.book.alarms()
    assert left.incident.track is None
    assert left.state is S.RETURNED


def test_a_performer_left_without_a_pack_is_said_by_the_cause(desk: Desk) -> None:
    """A receiver's alarm that takes all packs of somebody counts as uncovered, so most urgent."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(1.0)
    assert cause(desk).uncovered


def test_a_shelved_track_stays_shelved(desk: Desk) -> None:
    """What the crew shelved does not come back because its cause dissolves."""
    desk.fail(Fault.MUTED, 2)
    desk.run(0.6)
    operator.shelve(desk.book, desk.incidents(2)[0].id, None, desk.now_s)
    desk.fail(Fault.MUTED, 1, 3)
    desk.run(3.0)
    desk.mend(Fault.MUTED, 1)
    desk.run(5.0)
    assert desk.alarm(Fault.MUTED, 2).state is S.SHELVED


def test_all_tracks_out_of_service_end_the_cause(desk: Desk) -> None:
    """A receiver whose tracks were all taken out of service has no alarm, and stops nothing."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(3.0)
    for track in (1, 2, 3):
        operator.out_of_service(desk.book, track, True, desk.now_s)
    desk.run(5.0)
    assert cause(desk).end_s is not None


def test_a_track_out_of_service_does_not_hinder(desk: Desk) -> None:
    """A receiver is one cause though one of its tracks was taken out of service."""
    operator.out_of_service(desk.book, 3, True, desk.now_s)
    desk.fail(Fault.MUTED, 1, 2)
    assert EventKind.RAISED in {e.kind for e in desk.run(1.0)}
    assert cause(desk).tracks == (1, 2, 3)


@pytest.mark.parametrize("before", [Fault.SILENT, Fault.MUTED])
def test_a_receiver_goes_while_a_track_is_in_fault_already(desk: Desk, before: Fault) -> None:
    """A pack that was silent or off for a minute hides nothing: one alarm names the receiver."""
    desk.fail(before, 2)
    desk.run(60.0)
    began_s = desk.now_s
    desk.fail(Fault.MUTED, *(n for n in (1, 2, 3) if n != 2 or before is not Fault.MUTED))
    (heard,) = chimes(desk.run(1.0))
    assert heard.tracks == (1, 2, 3)
    assert heard.onset_s == pytest.approx(began_s)
    assert {desk.incidents(n)[-1].part_of for n in (1, 2, 3)} == {"A"}
    shown = [a for a in desk.book.alarms() if a.state is S.UNACKNOWLEDGED]
    assert [a.incident.id for a in shown] == [heard.id]
    assert "antennas" in check_first(heard)


def test_two_tracks_of_a_receiver_one_silent_before(desk: Desk) -> None:
    """What was silent and is muted together with its neighbour has the receiver in common."""
    desk.fail(Fault.SILENT, 4)
    desk.run(30.0)
    desk.fail(Fault.MUTED, 4, 5)
    desk.run(1.0)
    assert cause(desk).tracks == (4, 5)


@pytest.mark.parametrize(("apart_s", "together"), [(0.0, True), (1.0, False)])
def test_cables_that_pop_at_times_of_their_own_are_an_alarm_each(
    desk: Desk, apart_s: float, together: bool
) -> None:
    """What pops on all tracks of a receiver in one moment is the receiver's, else each cable's."""
    for track in (1, 2, 3):
        desk.fail(Fault.CRACKLE, track)
        desk.run(apart_s)
    desk.run(1.0)
    assert bool(desk.incidents(None)) is together
    assert all((desk.incidents(n)[0].part_of == "A") is together for n in (1, 2, 3))


def test_hum_on_all_inputs_is_one_alarm(desk: Desk) -> None:
    """Mains on every track, seen on one 4 s later and on one not at all, is one alarm."""
    desk.fail(Fault.HUM, 1, 2, 3)
    desk.run(4.0)
    desk.fail(Fault.HUM, 4)
    desk.run(8.0)
    shown = [a for a in desk.book.alarms() if a.state is S.UNACKNOWLEDGED]
    assert len(shown) == 1
    assert shown[0].incident.tracks == (1, 2, 3, 4, 5)
    assert "mains" in check_first(shown[0].incident)


def test_hum_on_two_of_five_is_two_alarms(desk: Desk) -> None:
    """A lead beside a dimmer is no matter of the whole input."""
    desk.fail(Fault.HUM, 1, 4)
    desk.run(8.0)
    assert desk.incidents(None) == []


def an_interface(*, receivers: str = "") -> Desk:
    """Eight packs; behind which receiver each is, by a letter."""
    letters = receivers or " " * 8
    return Desk(*(Track(n, receiver=letters[n - 1].strip()) for n in range(1, 9)))


@pytest.mark.parametrize("left", [0, 1, 2])
@pytest.mark.parametrize("receivers", ["", "AAAABBBB"])
def test_zero_on_nearly_all_inputs_at_once_is_one_alarm_on_the_input(
    left: int, receivers: str
) -> None:
    """Where the leaving of an interface can't be known otherwise: one chime, one card."""
    desk = an_interface(receivers=receivers)
    gone = range(1, 9 - left)
    desk.fail(Fault.MUTED, *gone)
    (heard,) = chimes(desk.run(1.0))
    whole = next(i for i in desk.incidents(None) if len(i.tracks) == 8)
    assert heard.id == whole.id
    assert ("all 8 tracks" in whole.detail) == (left == 0)
    assert f"{8 - left} tracks at once: interface" in whole.detail
    standing = [a for a in desk.book.alarms() if a.state is S.UNACKNOWLEDGED]
    assert [a.incident.id for a in standing] == [whole.id]


@pytest.mark.parametrize("gone", [(1, 2, 3), (1, 2, 3, 4, 5)])
def test_zero_on_some_inputs_at_once_is_not_the_input(gone: tuple[int, ...]) -> None:
    """Fewer than three in four are alarms of their own."""
    desk = an_interface()
    desk.fail(Fault.MUTED, *gone)
    desk.run(1.0)
    assert desk.incidents(None) == []


def test_nearly_all_inputs_behind_one_receiver_are_the_receivers() -> None:
    """Its own alarm says more than the interface's would."""
    desk = an_interface(receivers="AAAAAABC")
    desk.fail(Fault.MUTED, 1, 2, 3, 4, 5, 6)
    desk.run(1.0)
    (one,) = desk.incidents(None)
    assert one.tracks == (1, 2, 3, 4, 5, 6)
    assert "receiver A" in one.detail


def test_mutes_one_after_the_other_are_not_the_input() -> None:
    """An actor after the other leaves the stage: with two who stay, nothing is said of the input.

    It is the one moment that tells an interface.
    """
    desk = an_interface()
    for number in range(1, 7):
        desk.fail(Fault.MUTED, number)
        desk.run(0.3)
    desk.run(1.0)
    assert desk.incidents(None) == []


@pytest.mark.parametrize(
    ("fault", "word"),
    [(Fault.TONE, "take it off"), (Fault.DC, "interface"), (Fault.NOISE, "transmitter")],
)
def test_what_stands_on_most_inputs_is_one_alarm(desk: Desk, fault: Fault, word: str) -> None:
    """A line-up tone, an offset or noise of one source on four of five tracks, seconds apart."""
    desk.fail(fault, 1, 2)
    desk.run(4.0)
    desk.fail(fault, 3, 4)
    desk.run(8.0)
    shown = [a for a in desk.book.alarms() if a.state is S.UNACKNOWLEDGED]
    assert len(shown) == 1
    assert shown[0].incident.fault is fault
    assert word in check_first(shown[0].incident)


def test_an_offset_behind_one_receiver_names_it(desk: Desk) -> None:
    """Three of five tracks, all of one receiver."""
    desk.fail(Fault.DC, 1, 2, 3)
    desk.run(8.0)
    assert "receiver A" in cause(desk).detail
    assert cause(desk).tracks == (1, 2, 3)


def test_it_ends_three_seconds_after_its_tracks_came_back(desk: Desk) -> None:
    """Within 2 s they come back together, and 1 s is the off-delay of each (CONTRACT.md)."""
    desk.fail(Fault.MUTED, 1, 2, 3)
    desk.run(5.0)
    desk.mend(Fault.MUTED, 1, 2, 3)
    ends_s = [e.at_s for e in desk.run(6.0) if e.kind is EventKind.CLEARED]
    assert max(ends_s) == pytest.approx(8.0, abs=0.11)

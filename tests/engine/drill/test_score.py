"""Scoring, by cases made by hand."""

from __future__ import annotations

from dataclasses import replace

from engine.drill.score import ANSWER_S, Call, Score, Seen, score
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.early_signs import SignKind
from engine.model.messages import Fault, Incident, Kind, PackLevel, Severity
from engine.model.tracks import Track
from engine.session.records import SignRecord

TRACKS = (
    Track(1, "Foreman main", Kind.LAV, "Foreman", PackLevel.MAIN, receiver="A"),
    Track(2, "Foreman safety", Kind.LAV, "Foreman", PackLevel.SAFETY, receiver="A"),
    Track(3, "Boom", Kind.BOOM),
)


def truth(number: int, cause: Cause, *tracks: int, at_s: float = 20.0) -> Truth:
    """A fault of ten seconds."""
    severity = None if cause is Cause.NOTHING else Severity.RED
    return Truth(number, cause, tracks, at_s, at_s + 10.0, 0.5, severity, "")


def incident(number: int, track: int, fault: Fault, onset_s: float, after_s: float) -> Incident:
    """An alarm so long after its onset."""
    return Incident(number, track, fault, Severity.AMBER, onset_s, amber_s=onset_s + after_s)


def scored(
    truths: list[Truth],
    incidents: list[Incident] | None = None,
    seen: list[Seen] | None = None,
    calls: list[Call] | None = None,
    watched_s: float = 100.0,
    signs: list[SignRecord] | None = None,
) -> Score:
    """The score of a drill on those three tracks."""
    beside = (seen or [], calls or [])
    return score(TRACKS, truths, incidents or [], *beside, watched_s, signs or [])


def test_seen_counts_from_the_onset() -> None:
    """Time to seen runs from the fault's onset to the key; trackwarden's to its alarm."""
    found = incident(7, 1, Fault.MUTED, 20.1, 0.5)
    (one,) = scored([truth(1, Cause.MUTED, 1)], [found], [Seen(23.5, 7)]).results
    assert one.seen_after_s == 3.5
    assert round(one.found_after_s or 0.0, 6) == 0.6
    assert (one.missed, one.right, one.found) == (False, None, Fault.MUTED)


def test_a_cause_counts_as_seen_and_the_first_one_holds() -> None:
    """Who names a cause has seen it; a second thought does not mend the first."""
    calls = [Call(24.0, 3, Cause.MUTED), Call(26.0, 3, Cause.DEAD_MIC)]
    done = scored([truth(1, Cause.DEAD_MIC, 3)], calls=calls)
    assert done.results[0].seen_after_s == 4.0
    assert done.results[0].right is False
    assert (done.right, done.missed, done.false_calls) == (0, 0, 0)


def test_what_nobody_answers_in_time_is_missed() -> None:
    """An answer up to 15 s after the end counts, one later does not."""
    late, too_late = 30.0 + ANSWER_S, 30.0 + ANSWER_S + 0.1
    faults = [truth(1, Cause.MUTED, 1)]
    assert scored(faults, calls=[Call(late, 1, Cause.MUTED)]).missed == 0
    done = scored(faults, calls=[Call(too_late, 1, Cause.MUTED)])
    assert (done.missed, done.false_calls, done.seen_s) == (1, 1, None)


def test_a_false_friend_is_best_let_be() -> None:
    """Letting it be is right, naming nothing is right, naming a fault is a false call."""
    friend = [truth(1, Cause.NOTHING, 1, 2)]
    assert scored(friend).false_calls == 0
    assert scored(friend, calls=[Call(25.0, 2, Cause.NOTHING)]).results[0].right is True
    wrong = scored(friend, calls=[Call(25.0, 2, Cause.SILENT)])
    assert (wrong.results[0].right, wrong.false_calls, wrong.missed) == (False, 1, 0)
    assert wrong.faults == ()


def test_an_answer_is_for_the_newest_fault_of_its_track() -> None:
    """A cause named soon after the false friend is over is for the fault that began since."""
    faults = [truth(1, Cause.NOTHING, 1, 2), truth(2, Cause.DEAD_MIC, 1, at_s=35.0)]
    friend, dead = scored(faults, calls=[Call(40.0, 1, Cause.DEAD_MIC)]).results
    assert (friend.called, friend.seen_s) == (None, None)
    assert (dead.right, dead.seen_after_s) == (True, 5.0)


def test_false_calls_and_false_alarms_are_apart() -> None:
    """A cause named on a healthy track is the crew's, an alarm there is trackwarden's."""
    done = scored(
        [truth(1, Cause.MUTED, 1)],
        [incident(1, 1, Fault.MUTED, 20.0, 0.5), incident(2, 3, Fault.HUM, 22.0, 3.0)],
        calls=[Call(22.0, 3, Cause.HUM)],
    )
    assert (done.false_calls, done.false_alarms) == (1, 1)
    assert (done.found, done.named) == (1, 1)


def test_a_fault_found_as_another_is_found_but_not_named() -> None:
    """The alarm counts; its word does not."""
    done = scored([truth(1, Cause.DEAD_MIC, 3)], [incident(1, 3, Fault.SILENT, 20.0, 10.0)])
    assert (done.found, done.named, done.false_alarms) == (1, 0, 0)


def test_a_pair_alarm_on_the_other_pack_is_explained() -> None:
    """Pair drift on the safety while the main hums is no false alarm, a hum there is."""
    hum = [truth(1, Cause.HUM, 1)]
    assert scored(hum, [incident(1, 2, Fault.PAIR_DRIFT, 24.0, 1.0)]).false_alarms == 0
    assert scored(hum, [incident(1, 2, Fault.HUM, 24.0, 1.0)]).false_alarms == 1


def test_a_pair_alarm_looks_back_over_the_speech_it_was_made_of() -> None:
    """Its onset lies in speech before the fault; when it was raised tells what it is about."""
    drift = [truth(1, Cause.PAIR_DRIFT, 1)]
    early = incident(1, 1, Fault.PAIR_DRIFT, 17.0, 9.0)
    done = scored(drift, [early])
    assert (done.found, done.named, done.false_alarms) == (1, 1, 0)
    assert scored([truth(1, Cause.HUM, 2)], [early]).false_alarms == 0
    assert scored(drift, [incident(1, 1, Fault.PAIR_DRIFT, 10.0, 5.0)]).false_alarms == 1


def test_audio_that_the_computer_lost_is_no_false_alarm() -> None:
    """What was lost in the drill was lost, and so is what the loss brought with it; later not."""
    faults = [truth(1, Cause.MUTED, 1)]
    lost = replace(incident(1, 2, Fault.SAMPLES_LOST, 50.0, 0.1), track=None, end_s=51.0)
    assert scored(faults, [lost]).false_alarms == 0
    assert scored(faults, [lost, incident(2, 3, Fault.TIMECODE, 50.2, 1.0)]).false_alarms == 0
    assert scored(faults, [lost, incident(2, 3, Fault.HUM, 60.0, 1.0)]).false_alarms == 1


def test_who_answers_such_a_pair_alarm_made_no_false_call() -> None:
    """A cause named on the other pack counts neither as false nor as an answer to the fault."""
    hum, call = [truth(1, Cause.HUM, 1)], [Call(26.0, 2, Cause.MUTED)]
    done = scored(hum, [incident(1, 2, Fault.PAIR_DRIFT, 24.0, 1.0)], calls=call)
    assert (done.false_calls, done.missed) == (0, 1)
    assert scored(hum, calls=call).false_calls == 1


def test_a_receiver_is_one_fault_named_on_any_of_its_tracks() -> None:
    """Several alarms of one cause are one fault, and one answer is enough."""
    gone = [truth(1, Cause.RECEIVER, 1, 2)]
    alarms = [incident(n, n, Fault.MUTED, 20.2, 0.5) for n in (1, 2)]
    done = scored(gone, alarms, calls=[Call(22.0, 2, Cause.RECEIVER)])
    assert (len(done.faults), done.right, done.false_alarms) == (1, 1, 0)


def test_uncovered_is_when_all_packs_of_one_are_gone() -> None:
    """Main from 20 to 30 s, safety from 24 to 34 s: 6 s uncovered, until seen if that is sooner."""
    faults = [truth(1, Cause.MUTED, 1), truth(2, Cause.DEAD_MIC, 2, at_s=24.0)]
    assert scored(faults).uncovered_s == 6.0
    assert scored(faults).unseen_s == 6.0
    seen = scored(faults, calls=[Call(25.5, 2, Cause.DEAD_MIC)])
    assert (seen.uncovered_s, seen.unseen_s) == (6.0, 1.5)


def test_what_was_not_watched_or_not_to_be_heard_does_not_count() -> None:
    """Faults after the end of the drill, and those too faint for an alarm, are left out."""
    faint = Truth(2, Cause.HUM, (3,), 10.0, 20.0, 0.1, None, "")
    done = scored([truth(1, Cause.MUTED, 1, at_s=60.0), faint], watched_s=50.0)
    assert (done.results, done.seen_s, done.found_s) == ((), None, None)


def sign(track: int, told_s: float) -> SignRecord:
    """An early sign on that track."""
    return SignRecord(SignKind.NOISE_FLOOR, (track,), told_s - 60.0, told_s, None, -60.0, -54.0)


def test_what_fails_slowly_is_told_by_its_sign_and_then_by_its_alarm() -> None:
    """The first sign on its track counts, from its onset to its alarm; others' do not."""
    slow = Truth(1, Cause.CREEPING, (1,), 100.0, 400.0, 0.5, Severity.RED, "")
    found = incident(7, 1, Fault.NOISE, 300.0, 5.0)
    signs = [sign(1, 90.0), sign(3, 150.0), sign(1, 200.0), sign(1, 240.0)]
    done = scored([slow], [found], signs=signs, watched_s=500.0)
    (one,) = done.results
    assert (one.sign_after_s, one.found_after_s) == (100.0, 205.0)
    assert done.found_s is None  # minutes are no measure of a fault that comes at once
    late = scored([slow], [found], signs=[sign(1, 310.0)], watched_s=500.0)
    assert late.results[0].sign_s is None


def test_who_names_the_fault_in_which_a_slow_failure_ends_is_right() -> None:
    """Noise that creeps up is called noise, even before its alarm."""
    slow = Truth(1, Cause.CREEPING, (1,), 100.0, 400.0, 0.5, Severity.RED, "")
    for cause, right in ((Cause.NOISE, True), (Cause.HUM, False)):
        (one,) = scored([slow], calls=[Call(180.0, 1, cause)], watched_s=500.0).results
        assert one.right is right
        assert one.seen_after_s == 80.0


def test_a_sudden_fault_has_no_sign() -> None:
    """What an earlier sign said of the same track is not about it."""
    done = scored([truth(1, Cause.MUTED, 1)], signs=[sign(1, 25.0)])
    assert done.results[0].sign_s is None

"""Early signs as records, by cases made by hand."""

from __future__ import annotations

from engine.model.early_signs import EarlySign, SignEvent, SignKind
from engine.model.messages import Fault, Incident, Severity
from engine.pipeline.sign_records import BEFORE_S, SignRecorder, signs_before


def sign(number: int, track: int, since_s: float) -> EarlySign:
    """A sign of that track."""
    return EarlySign(number, SignKind.HUM, (track,), since_s, 1.0, 9.0)


def test_a_sign_is_one_record_from_its_beginning_to_its_end() -> None:
    """By their beginning; one that is not over has no end, one that never began is left out."""
    recorder = SignRecorder()
    recorder.add([SignEvent(sign(1, 4, 80.0), 120.0, began=True)])
    recorder.add([SignEvent(sign(2, 3, 50.0), 130.0, began=True)])
    recorder.add([SignEvent(sign(1, 4, 80.0), 200.0, began=False)])
    recorder.add([SignEvent(sign(9, 5, 80.0), 210.0, began=False)])
    spans = [(r.tracks, r.since_s, r.told_s, r.until_s) for r in recorder.records]
    assert spans == [((3,), 50.0, 130.0, None), ((4,), 80.0, 120.0, 200.0)]


def test_signs_before_an_incident_are_those_of_its_tracks_shortly_before() -> None:
    """Not another track's, none that began later, none that was over long before."""
    recorder = SignRecorder()
    for number, track, since_s in ((1, 4, 10.0), (2, 4, 900.0), (3, 4, 1500.0), (4, 5, 900.0)):
        recorder.add([SignEvent(sign(number, track, since_s), since_s + 20.0, began=True)])
    recorder.add([SignEvent(sign(1, 4, 10.0), 60.0, began=False)])
    incident = Incident(7, 4, Fault.HUM, Severity.AMBER, 60.0 + BEFORE_S + 400.0)
    assert [s.since_s for s in signs_before(incident, recorder.records)] == [900.0]
    both = Incident(8, None, Fault.HUM, Severity.AMBER, 1000.0, tracks=(4, 5))
    assert len(signs_before(both, recorder.records)) == 2

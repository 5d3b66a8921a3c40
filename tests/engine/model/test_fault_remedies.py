"""What the table of faults says of an incident."""

from __future__ import annotations

from engine.model.fault_remedies import rule_of, spoils, word
from engine.model.fault_rules import Scope
from engine.model.messages import Fault
from tests.support.sample_report import incident


def test_a_fault_with_two_rows_gives_the_one_that_fits() -> None:
    """Samples lost on one track and on the whole input are two rows; each incident has its own."""
    one = rule_of(incident(fault=Fault.SAMPLES_LOST))
    whole = rule_of(incident(track=None, tracks=(1, 2), fault=Fault.SAMPLES_LOST))
    assert one is not None
    assert whole is not None
    assert (one.scope, whole.scope) == (Scope.TRACK, Scope.INPUT)


def test_every_fault_has_a_word() -> None:
    """Every fault of the catalogue can be named, without underscores."""
    assert all(word(fault) and "_" not in word(fault) for fault in Fault)


def test_what_spoils() -> None:
    """A muted track is unusable, hum on it is not."""
    assert spoils(incident(fault=Fault.MUTED))
    assert not spoils(incident(fault=Fault.HUM))

"""What the table of faults says of an incident."""

from __future__ import annotations

from engine.model.fault_remedies import check_first, rule_of, spoils, word
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


def test_what_a_detail_names_has_a_remedy_of_its_own() -> None:
    """A phone is to go away; a cable, which is checked for all other pops, has nothing."""
    pops = check_first(incident(fault=Fault.CRACKLE, detail="4 pops in 10 s"))
    phone = check_first(incident(fault=Fault.CRACKLE, detail="4 bursts of a phone in 10 s"))
    assert "cable and plug" in pops
    assert "flight mode" in phone
    assert "plug" not in phone

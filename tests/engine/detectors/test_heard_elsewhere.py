"""What others hear as well is no contact, and several contacts are several: through `crackle`."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.crackle import Crackle
from engine.detectors.heard_elsewhere import RINGS, is_shared
from tests.support.contacts import POPS_S, RATE, SCENE, STRIKES, eight_performers, opened, place
from tests.support.watching import told


def test_what_both_packs_hear_is_no_contact() -> None:
    """A step on both packs of one performer, or on every input, is no cable."""
    x = place()
    for at_s in POPS_S:
        for track in (0, 1):
            opened(x, track, at_s, 0.002, 0.4)
    assert not told(Crackle(SCENE), x, SCENE, 0).spans_s


@pytest.mark.parametrize("cables", [1, 3, 7])
def test_several_cables_are_told_each(cables: int) -> None:
    """Eight performers, whose contacts open at times of their own, as on a worn multicore."""
    where, x = eight_performers()
    rng = np.random.default_rng(7)
    for track in range(cables):
        for at_s in np.sort(rng.uniform(1.0, 11.5, 14)):
            opened(x, track, at_s, 0.004, 0.4)
    for track in range(cables):
        assert told(Crackle(where), x, where, track).spans_s
    assert not told(Crackle(where), x, where, 7).spans_s


def test_what_pops_on_most_in_one_moment_is_no_cable() -> None:
    """A step on seven of eight inputs at once, as of a spark or a switch on their supply."""
    where, x = eight_performers()
    for at_s in POPS_S[:7]:
        for track in range(7):
            opened(x, track, at_s, 0.004, 0.4)
    assert not any(told(Crackle(where), x, where, track).spans_s for track in range(8))


@pytest.mark.parametrize("what", ["hail", "raincoat", "rain"])
def test_what_strikes_each_track_at_its_own_times_is_no_contact(what: str) -> None:
    """Stones, creases and drops on eight wearers: none falls on two mics."""
    where, x = eight_performers()
    for track in range(8):
        strikes = STRIKES[what](len(x) / RATE, np.random.default_rng(20 + track))
        x[: len(strikes), track] += 0.7 * strikes[: len(x)] / np.abs(strikes).max()
    assert not any(told(Crackle(where), x, where, track).spans_s for track in range(8))


@pytest.mark.parametrize(("seed", "bursts"), [(1, 40), (2, 40), (3, 40), (4, 100), (6, 100)])
def test_a_fire_that_others_hear_as_well_is_no_contact(seed: int, bursts: int) -> None:
    """Sap bursts at an arm's length of one mic, so suddenly that its pulse is a step there; the
    others are 3 to 7 m off, hear it 18 to 24 dB fainter, later, and with the room after it."""
    x = place()
    rng = np.random.default_rng(seed)
    tail = rng.standard_normal(9600) * np.exp(-np.arange(9600) / (0.06 * RATE))
    for at_s in np.sort(rng.uniform(4.0, 18.0, bursts)):
        pulse = rng.uniform(0.15, 0.5) * np.exp(-np.arange(300) / (rng.uniform(1e-3, 4e-3) * RATE))
        for track, far_m in ((0, 4.0), (1, 4.1), (2, 0.4), (3, 7.0)):
            at = round((at_s + far_m / 343.0) * RATE)
            x[at : at + 300, track] += 0.4 / far_m * pulse
            x[at : at + 9600, track] += 0.02 * pulse[0] * tail
    assert not any(told(Crackle(SCENE), x, SCENE, track).spans_s for track in range(4))


@pytest.mark.parametrize("hears", [0, 1, 2, 3])
def test_half_of_the_others_must_hear_it(hears: int) -> None:
    """Of four open ones besides it, two; three times as loud as a calm second before."""
    energy = np.random.default_rng(1).uniform(0.5, 1.0, (100, 5))
    energy[80, 1 : 1 + hears] = 3.0
    stands_out = np.zeros((100, 5), dtype=np.bool_)
    stands_out[80, 0] = True
    open_ = np.ones(5, dtype=np.bool_)
    assert is_shared(energy, stands_out, open_, 0, 80) is (hears >= 2)
    assert not is_shared(energy, stands_out, open_, 0, RINGS)

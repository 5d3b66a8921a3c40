"""Which channel carries which track."""

from __future__ import annotations

import numpy as np
import pytest

from engine.verify.channel_gain import gain_step
from engine.verify.channel_match import match_channels
from tests.support.verify_signals import SLOW, TRACKS, levels, night, recorded

INPUTS = tuple(track.input for track in TRACKS)


@pytest.fixture(scope="module")
def session() -> np.ndarray:
    """A hundred seconds of a night, its levels."""
    return levels(night(100.0, rate=SLOW), 0.1, SLOW).astype(np.float32)


@pytest.fixture(scope="module")
def take() -> np.ndarray:
    """The same as a recorder took it."""
    return recorded(night(100.0, rate=SLOW), 0.0, 99.9, rate=SLOW)


def of(session: np.ndarray, sound: np.ndarray) -> dict[int, tuple[int, ...]]:
    """Channels that carry each input."""
    there = levels(sound, 0.1, SLOW).astype(np.float32)
    return {m.input: m.on for m in match_channels(session[: len(there)], there, INPUTS)}


def test_every_track_is_where_it_belongs(session: np.ndarray, take: np.ndarray) -> None:
    """A clean take carries each track on its own channel, the packs of one performer told apart."""
    assert of(session, take) == {n: (n - 1,) for n in INPUTS}


@pytest.mark.parametrize("pair", [(0, 1), (2, 3), (4, 5)])
def test_exchanged_channels_are_seen(
    session: np.ndarray, take: np.ndarray, pair: tuple[int, int]
) -> None:
    """Two exchanged channels carry each other's track, main and safety as well."""
    one, other = pair
    take = take.copy()
    take[:, [one, other]] = take[:, [other, one]]
    on = of(session, take)
    assert on[one + 1] == (other,)
    assert on[other + 1] == (one,)


def test_a_channel_that_was_not_armed_is_empty(session: np.ndarray, take: np.ndarray) -> None:
    """Its track is on no channel, and its own carries nothing."""
    take = take.copy()
    take[:, 2] = 0.0
    there = levels(take, 0.1, SLOW).astype(np.float32)
    match = next(m for m in match_channels(session[: len(there)], there, INPUTS) if m.input == 3)
    assert match.on == ()
    assert match.own_is_empty


def test_a_doubled_channel_is_carried_twice(session: np.ndarray, take: np.ndarray) -> None:
    """The track that is there twice lies on both, the lost one on none."""
    take = take.copy()
    take[:, 5] = take[:, 2]
    on = of(session, take)
    assert set(on[3]) == {2, 5}
    assert on[6] == ()


def test_a_names_channel_is_its_own(session: np.ndarray, take: np.ndarray) -> None:
    """Where names say that a track belongs on another channel, that is its own."""
    there = levels(np.roll(take, 1, axis=1), 0.1, SLOW).astype(np.float32)
    own = {n: n % len(INPUTS) for n in INPUTS}
    found = match_channels(session[: len(there)], there, INPUTS, own)
    assert all(m.on[0] == m.own for m in found)


def test_the_gain_is_the_take_over_the_session(session: np.ndarray, take: np.ndarray) -> None:
    """Half the amplitude is -6.02 dB (arithmetic)."""
    there = levels(0.5 * take, 0.1, SLOW).astype(np.float32)
    whole = levels(take, 0.1, SLOW).astype(np.float32)
    before = match_channels(session[: len(whole)], whole, INPUTS)
    after = match_channels(session[: len(there)], there, INPUTS)
    for one, other in zip(before, after, strict=True):
        assert other.gain_db - one.gain_db == pytest.approx(-6.02, abs=0.05)
        assert (other.input, other.on) == (one.input, one.on)


def test_a_step_of_the_gain_is_dated(session: np.ndarray, take: np.ndarray) -> None:
    """6 dB down after 60 s are told with their size and moment; a steady gain is none."""
    there = levels(take, 0.1, SLOW).astype(np.float32)[:, 0]
    here = session[: len(there), 0]
    assert gain_step(here, there) is None
    lower = there.copy()
    lower[600:] -= 6.0
    step = gain_step(here, lower)
    assert step is not None
    assert step.by_db == pytest.approx(-6.0, abs=0.5)
    assert step.at_step == pytest.approx(600, abs=150)

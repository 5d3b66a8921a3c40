"""What is heard of the ring: levels, fades, limit and the switch of packs, from its samples.

Fades of some milliseconds against clicks, and two packs at the same loudness: common practice, no
source. The limit is one of the samples; what reaches the ear depends on the amplifier.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.listen.limiter import AHEAD_S, Limiter
from engine.listen.mix import FADE_IN_S, LAG_S, Mix
from engine.listen.ring import Ring
from engine.model.listening import FIRST_LEVEL_DB, LIMIT_DB
from engine.model.messages import Samples
from tests.support.signals import noise, sine
from tests.support.strategies import seeds, untimed

RATE = 48_000
BLOCK = 960


def ring_of(*tracks: Samples, rate_hz: int = RATE) -> Ring:
    """A ring that holds these tracks from frame 0."""
    take = np.concatenate(tracks, axis=1)
    ring = Ring(range(1, take.shape[1] + 1), rate_hz)
    ring.put(take, len(take))
    return ring


def heard(mix: Mix, seconds: float) -> np.ndarray:
    """What the output would get."""
    return np.concatenate([mix.render(BLOCK) for _ in range(round(seconds * mix.rate_hz / BLOCK))])


def level_db(x: np.ndarray) -> float:
    """Mean power in dB."""
    return 10.0 * np.log10(np.mean(np.square(x.astype(np.float64))) + 1e-30)


def test_it_begins_low_and_fades_in() -> None:
    """A full-scale tone starts from nothing, is 30 dB down after 300 ms, and never louder."""
    mix = Mix(ring_of(sine(0.0, 3.0, RATE)), RATE)
    mix.listen(1, 0)
    out = heard(mix, 2.0)
    assert np.abs(out).max() <= 10.0 ** (FIRST_LEVEL_DB / 20.0) * 1.001
    tenths = [level_db(part) for part in np.split(out[: RATE // 2], 5)]
    assert tenths[0] < tenths[1] < tenths[2]
    assert tenths[0] < FIRST_LEVEL_DB - 3.01 - 10.0
    assert tenths[4] == pytest.approx(FIRST_LEVEL_DB - 3.01, abs=0.05)
    start = out[: round(FADE_IN_S * RATE / 2)]
    assert np.abs(start).max() < 0.6 * 10.0 ** (FIRST_LEVEL_DB / 20.0)


def test_a_level_asked_for_over_the_limit_is_the_limit() -> None:
    """Neither level nor peak exceeds the limit until the limit is raised."""
    mix = Mix(ring_of(sine(0.0, 9.0, RATE)), RATE)
    mix.listen(1, 0)
    mix.set_level(0.0, LIMIT_DB)
    out = heard(mix, 3.0)
    assert np.abs(out).max() <= 10.0 ** (LIMIT_DB / 20.0) * (1 + 1e-6)
    assert level_db(out[-RATE:]) == pytest.approx(LIMIT_DB - 3.01, abs=0.1)
    mix.set_level(0.0, 0.0)
    assert level_db(heard(mix, 3.0)[-RATE:]) == pytest.approx(-3.01, abs=0.1)


def test_a_level_moves_without_a_jump() -> None:
    """However far the level is moved, no two neighbouring samples differ by a click."""
    mix = Mix(ring_of(sine(0.0, 9.0, RATE, hz=100.0)), RATE)
    mix.listen(1, 0)
    mix.set_level(-60.0, 0.0)
    heard(mix, 1.5)
    mix.set_level(0.0, 0.0)
    out = heard(mix, 2.0)
    steepest = 2 * np.pi * 100.0 / RATE
    assert np.abs(np.diff(out)).max() <= 1.05 * steepest


@untimed
@given(seed=seeds, ceiling_db=st.sampled_from([-30.0, -12.0, 0.0]), gain=st.sampled_from([0.1, 30]))
def test_the_limiter_lets_no_peak_through(seed: int, ceiling_db: float, gain: float) -> None:
    """No peak comes out over the ceiling, whatever goes in and however it is cut."""
    rng = np.random.default_rng(seed)
    x = gain * rng.standard_normal(4000) * (rng.random(4000) < 0.05)
    ceiling = np.full(4000, 10.0 ** (ceiling_db / 20.0))
    limiter = Limiter(8_000)
    at = np.sort(rng.integers(1, 3999, 5))
    parts = zip(np.split(x, at), np.split(ceiling, at), strict=True)
    out = np.concatenate([limiter(a, b) for a, b in parts])
    assert np.abs(out).max() <= ceiling[0] * (1 + 1e-9)
    assert np.allclose(out, Limiter(8_000)(x, ceiling), atol=1e-9)


def test_the_limiter_leaves_quiet_sound_alone() -> None:
    """Under the ceiling the sound comes out as it went in, 5 ms later."""
    x = noise(-30.0, 1.0, RATE)[:, 0].astype(np.float64)
    out = Limiter(RATE)(x, np.ones(RATE))
    delay = round(AHEAD_S * RATE)
    assert np.allclose(out[delay:], x[:-delay], atol=1e-12)


def test_the_other_pack_is_as_loud_and_at_the_same_place() -> None:
    """A safety 12 dB down is heard at the main's level, in step with it, and back the same."""
    voice = noise(-20.0, 12.0, RATE)
    safety = noise(-20.0, 12.0, RATE, seed=9) * np.float32(10 ** (-12 / 20))
    mix = Mix(ring_of(voice, safety), RATE)
    mix.listen(1, 4 * RATE)
    main = heard(mix, 2.0)[-RATE:]
    mix.switch(2)
    assert mix.voice is not None
    assert mix.at_frame == 6 * RATE
    assert mix.voice.match_db == pytest.approx(12.0, abs=0.3)
    assert level_db(heard(mix, 1.0)[RATE // 2 :]) == pytest.approx(level_db(main), abs=0.3)
    mix.switch(1)
    assert mix.voice.match_db == pytest.approx(0.0, abs=0.5)


def test_a_dead_pack_is_not_turned_up() -> None:
    """A pack that gives nothing is heard as it is: silence is not matched."""
    mix = Mix(ring_of(noise(-20.0, 6.0, RATE), noise(-100.0, 6.0, RATE)), RATE)
    mix.listen(1, 4 * RATE)
    heard(mix, 0.5)
    mix.switch(2)
    assert mix.voice is not None
    assert mix.voice.match_db == 0.0


def test_live_follows_the_input_through_a_pause() -> None:
    """Live stays a fraction of a second behind, is silent while nothing comes, then goes on."""
    take = sine(-10.0, 10.0, RATE)
    ring = ring_of(take[: 3 * RATE])
    mix = Mix(ring, RATE)
    mix.listen(1)
    end = 3 * RATE
    for _ in range(50):
        ring.put(take[:BLOCK], end := end + BLOCK)
        mix.render(BLOCK)
    assert ring.end - mix.at_frame == pytest.approx(LAG_S * RATE, abs=BLOCK)
    heard(mix, 1.0)
    assert not heard(mix, 0.5).any()
    for _ in range(50):
        ring.put(take[:BLOCK], end := end + BLOCK)
        last = mix.render(BLOCK)
    assert level_db(last) == pytest.approx(FIRST_LEVEL_DB - 13.01, abs=1.0)
    ring.put(take[: 2 * RATE], end + 5 * RATE)
    mix.render(BLOCK)
    assert ring.end - mix.at_frame <= LAG_S * RATE


def test_stop_fades_out_and_ends() -> None:
    """After a stop the sound fades within a fraction of a second and nothing is left."""
    mix = Mix(ring_of(sine(-6.0, 5.0, RATE)), RATE)
    assert mix.silent
    mix.listen(1, 0)
    heard(mix, 1.0)
    mix.stop()
    out = heard(mix, 0.5)
    assert mix.silent
    assert mix.voice is None
    assert out[:BLOCK].any()
    assert not out[RATE // 4 :].any()


def test_what_was_overwritten_is_heard_from_the_oldest_kept() -> None:
    """An onset longer ago than the memory reaches is heard from the oldest that is left."""
    ring = Ring((1,), RATE, seconds=2.0)
    ring.put(sine(-6.0, 5.0, RATE), 5 * RATE)
    mix = Mix(ring, RATE)
    mix.listen(1, RATE)
    assert mix.at_frame == 3 * RATE
    assert heard(mix, 1.0).any()


@pytest.mark.parametrize(
    ("kept_hz", "out_hz"), [(48_000, 44_100), (96_000, 48_000), (44_100, 48_000)]
)
def test_another_rate_sounds_the_same(kept_hz: int, out_hz: int) -> None:
    """At the output's rate the tones are those a converter of that rate would have, to -75 dB."""
    tones_hz = (60.0, 997.0, 7_000.0, 15_000.0)
    tone = np.sum([sine(-20.0, 1.0, kept_hz, hz) for hz in tones_hz], axis=0)
    mix = Mix(ring_of(tone, rate_hz=kept_hz), out_hz)
    mix.listen(1, 0)
    got = np.concatenate([mix.render(441) for _ in range(out_hz * 9 // 10 // 441)])
    delay = round(AHEAD_S * out_hz)
    want = np.sum([sine(-20.0, 1.0, out_hz, hz) for hz in tones_hz], axis=0)[:, 0]
    span = slice(out_hz // 2, out_hz * 8 // 10)
    gain = 10.0 ** (FIRST_LEVEL_DB / 20.0)
    off = got[delay:][span] / gain - want[span]
    assert level_db(off) < level_db(want[span]) - 75.0

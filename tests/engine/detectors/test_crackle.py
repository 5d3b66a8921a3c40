"""Crackle: a contact that opens. Times as in CONTRACT.md.

A pop is what a step leaves behind a high-pass: exponential (circuit theory); a clap is a burst of
noise that decays over milliseconds, as heard through air (common practice, no source).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, resample_poly, sosfilt

from engine.detectors.crackle import Crackle
from engine.measure.tick_block import TickBlock
from engine.model.fault_rules import Named
from engine.model.tracks import Scene
from tests.support import harmless_sound as sound
from tests.support.contacts import POPS_S, RATE, SCENE, STRIKES, opened, openings, place
from tests.support.harmless_sound import impacts
from tests.support.signals import noise
from tests.support.watching import measurements, told


@pytest.mark.parametrize("open_s", [0.0005, 0.004, 0.02])
@pytest.mark.parametrize("height", [0.2, 0.6])
def test_a_contact_that_opens_is_told_at_its_third_pop(open_s: float, height: float) -> None:
    """From the first pop on, within a second of the third, red when it goes on; on that track."""
    x = place()
    for at_s in POPS_S:
        opened(x, 0, at_s, open_s, height)
    said = told(Crackle(SCENE), x, SCENE, 0)
    assert said.spans_s[0][0] == pytest.approx(POPS_S[0], abs=0.03)
    first = said.states.index(1)
    assert POPS_S[2] <= 0.1 * (first + 1) <= POPS_S[2] + 1.0
    assert said.may_be_red
    assert not told(Crackle(SCENE), x, SCENE, 2).spans_s


def test_told_before_or_not_it_says_the_same() -> None:
    """Of ticks that come ten at once, with pops at the edges of ticks and of what comes at once."""
    x = place()[: 9 * RATE]
    for at_s in (*POPS_S[:3], 5.9995, 6.0003, 8.199):
        opened(x, 0, at_s, 0.004, 0.3)
        opened(x, 2, at_s + 0.3, 0.004, 0.1)
    ticks = measurements(x, SCENE)
    alone, ahead = Crackle(SCENE), Crackle(SCENE)
    said = []
    for n, (m, feed) in enumerate(ticks):
        if n % 10 == 0:
            ahead.look_ahead(TickBlock([one for one, _ in ticks[n : n + 10]]))
        one, other = alone.update(m, feed), ahead.update(m, feed)
        said.append(one.state.max())
        for name in ("state", "onset_s", "last_s", "may_be_red"):
            assert getattr(one, name).tobytes() == getattr(other, name).tobytes()
    assert 1 in said


def test_claps_and_knocks_are_no_contact() -> None:
    """Bursts that decay over milliseconds, loud or on one mic alone, and gaps without pops."""
    x = place()
    rng = np.random.default_rng(5)
    for at_s in POPS_S:
        at = round(at_s * RATE)
        decay = np.exp(-np.arange(2400) / (0.006 * RATE)) * rng.standard_normal(2400)
        x[at : at + 2400, 2] += 0.3 * decay
        knock = np.exp(-np.arange(4800) / (0.02 * RATE)) * np.sin(np.arange(4800) * 0.03)
        x[at : at + 4800, 3] += 0.6 * knock
        x[at : at + 2000, 0] = 0.0
    assert not any(told(Crackle(SCENE), x, SCENE, track).spans_s for track in range(4))


@pytest.mark.parametrize("what", STRIKES)
@pytest.mark.parametrize("seed", [3, 4])
def test_what_strikes_and_rings_is_no_contact(what: str, seed: int) -> None:
    """Drops, stones, creases, keys and teeth close to one mic alone, peaks at -3 dBFS."""
    x = place()
    strikes = STRIKES[what](14.0, np.random.default_rng(seed))
    x[5 * RATE : 5 * RATE + len(strikes), 2] += 0.7 * strikes / np.abs(strikes).max()
    assert not told(Crackle(SCENE), x, SCENE, 2).spans_s


@pytest.mark.parametrize("low_cut_hz", [80.0, 150.0])
def test_a_low_cut_behind_the_contact_leaves_its_pops(low_cut_hz: float) -> None:
    """A pack's low-cut lets a step go within a millisecond or two; the fault is told all the
    same."""
    x = place()
    for at_s in POPS_S:
        opened(x, 0, at_s, 0.004, 0.4)
    sos = butter(1, low_cut_hz, "highpass", fs=RATE, output="sos")
    x[:, 0] = sosfilt(sos, x[:, 0])
    said = told(Crackle(SCENE), x, SCENE, 0)
    assert POPS_S[2] <= 0.1 * (said.states.index(1) + 1) <= POPS_S[2] + 1.0


@pytest.mark.parametrize("open_s", [0.0006, 0.004, 0.02])
def test_pops_of_a_safety_are_told_as_its_gain_lets_them_be(open_s: float) -> None:
    """-29 dBFS on a pack whose gain stands 12 dB lower, behind a link that ends at 15 kHz."""
    x = place() * 10.0 ** (-10.0 / 20.0)
    for at_s in POPS_S:
        opened(x, 1, at_s, open_s, 0.035)
    x = sosfilt(butter(4, 15_000.0, fs=RATE, output="sos"), x, axis=0).astype(np.float32)
    said = told(Crackle(SCENE), x, SCENE, 1)
    assert POPS_S[2] <= 0.1 * (said.states.index(1) + 1) <= POPS_S[2] + 1.0


def test_pops_in_loud_words_are_told() -> None:
    """Pops that reach three times as high as the words round them are told by the fourth."""
    x = place()
    x[:, :2] *= 12.0
    height = 3.0 * float(np.abs(x[:, 0]).max())
    for at_s in POPS_S[:5]:
        opened(x, 0, at_s, 0.004, height)
    said = told(Crackle(SCENE), x, SCENE, 0)
    assert POPS_S[2] <= 0.1 * (said.states.index(1) + 1) <= POPS_S[3] + 1.0


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_pops_no_higher_than_the_words_are_told(share: float) -> None:
    """The bias is weak, or the speaker near: a step is sudden however loud the vowels are."""
    x = place()
    t = np.arange(len(x)) / RATE
    vowel = sum(np.cos(2.0 * np.pi * 130.0 * n * t + n) / n**1.5 for n in range(1, 30))
    x[:, :2] += (0.1 * vowel * np.clip(np.sin(2.0 * np.pi * 2.3 * t), 0.1, None))[:, None]
    height = share * float(np.abs(x[:, 0]).max())
    for at_s in POPS_S[:7]:
        opened(x, 0, at_s, 0.004, height)
    said = told(Crackle(SCENE), x, SCENE, 0)
    assert POPS_S[2] <= 0.1 * (said.states.index(1) + 1) <= POPS_S[3] + 1.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pops_amid_words_are_told(seed: int) -> None:
    """A bias that jumps while its wearer talks in rain, behind a link that ends at 15 kHz: the step
    hardly shows in the energy of its hop, and the other pack does not hear it."""
    rng = np.random.default_rng(seed)
    said = [sound.voice(20.0, dbfs, np.random.default_rng(seed), talks=0.9) for dbfs in (-22, -34)]
    x = place() + sound.takes([*said, 0.01 * said[0], 0.01 * said[0]])
    x += noise(-44.0, 20.0, RATE, seed=seed, tracks=4)
    pops = np.zeros(len(x))
    for at_s in np.sort(rng.uniform(4.0, 16.0, 12)):
        bias = rng.uniform(0.2, 0.3) * np.exp(-np.arange(RATE // 10) / (0.012 * RATE))
        pops[round(at_s * RATE) :][: len(bias)] += bias
    sos = butter(4, 15_000.0, fs=RATE, output="sos")
    x[:, 0] += sosfilt(sos, pops).astype(np.float32)
    assert told(Crackle(SCENE), x, SCENE, 0).spans_s
    assert not told(Crackle(SCENE), x, SCENE, 1).spans_s


def test_the_bursts_of_a_phone_are_told_as_such() -> None:
    """A phone asks for its network: pulses of an eighth of a frame of 4.6 ms, 170 ms of them four
    times a second, behind a low-pass of 6 kHz and a low-cut of 80 Hz."""
    x = place()
    t = np.arange(7 * RATE) / RATE
    pulses = ((t % (0.12 / 26.0) < 0.00058) - 0.125) * (t % 0.25 < 0.17)
    for sos in (
        butter(1, 6000.0, fs=RATE, output="sos"),
        butter(1, 80.0, "highpass", fs=RATE, output="sos"),
    ):
        pulses = sosfilt(sos, pulses)
    x[6 * RATE : 13 * RATE, 2] += (0.063 * pulses).astype(np.float32)
    detector = Crackle(SCENE)
    said = told(detector, x, SCENE, 2)
    assert 0.1 * (said.states.index(1) + 1) <= 6.0 + 5.0
    assert "217 Hz" in detector.detail(2)
    assert Named.PHONE in detector.detail(2)


@pytest.mark.parametrize("amid", ["words", "rain"])
@pytest.mark.parametrize("track", [0, 2])
def test_a_contact_amid_loud_words_or_rain_is_told(amid: str, track: int) -> None:
    """All hear the words, and drops fall on all: told within a second of the fourth opening, for a
    syllable may hide one, and on that track alone."""
    rng = np.random.default_rng(6)
    x = place()
    if amid == "words":
        said = sound.voice(20.0, -22.0, rng, talks=0.95)
        x += sound.takes([0.7 * said, 0.2 * said, 0.5 * said, 0.15 * said])
    else:
        for column in x.T:
            drops = impacts(20.0, 100.0, rng, 0.0008)[: len(x)]
            column += (0.15 * drops / np.abs(drops).max()).astype(np.float32)
    due_s = openings(x, track, rng, 5.0, 12.0)
    x = x[: 12 * RATE]
    said_of = [told(Crackle(SCENE), x, SCENE, one) for one in (track, 3)]
    assert 5.2 <= 0.1 * (said_of[0].states.index(1) + 1) <= due_s + 1.0
    assert not said_of[1].spans_s


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 96_000])
def test_contacts_are_told_at_any_rate(rate_hz: int) -> None:
    """And nothing of the others, nor of drops."""
    where = Scene(SCENE.tracks, rate_hz)
    x = place()[: 12 * RATE]
    for at_s in POPS_S[:6]:
        opened(x, 0, at_s, 0.004, 0.3)
    drops = impacts(12.0, 30.0, np.random.default_rng(2), 0.0004)[: len(x)]
    x[:, 2] += (0.3 * drops / np.abs(drops).max()).astype(np.float32)
    up, down = (rate_hz // np.gcd(rate_hz, RATE), RATE // np.gcd(rate_hz, RATE))
    x = resample_poly(x, up, down, axis=0).astype(np.float32)
    said = told(Crackle(where), x, where, 0)
    assert POPS_S[2] <= 0.1 * (said.states.index(1) + 1) <= POPS_S[2] + 1.0
    assert not told(Crackle(where), x, where, 2).spans_s


def test_the_seams_of_a_stuck_buffer_are_no_pops() -> None:
    """Words of which one buffer is played again and again, and three more for a moment each."""
    x = sound.takes([sound.voice(12.0, -22.0, np.random.default_rng(n), 0.9) for n in range(4)])
    x += noise(-60.0, 12.0, RATE, seed=3, tracks=4)[: len(x)]
    for first_s, last_s in ((3.0, 3.2), (4.0, 4.2), (5.0, 5.2), (6.0, 11.0)):
        first, last, period = round(first_s * RATE), round(last_s * RATE), 960
        x[first:last, 2] = np.resize(x[first - period : first, 2], last - first)
    assert not told(Crackle(SCENE), x, SCENE, 2).spans_s


def test_a_pop_is_judged_20_ms_after_its_hop() -> None:
    """The third one is told in the tick that holds those, whatever is yet to come."""
    x = place()
    for at_s in (5.31, 6.41, 7.575):
        opened(x, 0, at_s, 0.004, 0.3)
    assert told(Crackle(SCENE), x, SCENE, 0).states.index(1) == 75


def test_a_receiver_that_mutes_amid_words_does_not_pop() -> None:
    """Every second it is silent for 50 ms, from one sample to the next."""
    rng = np.random.default_rng(8)
    x = place() + sound.takes([sound.voice(20.0, -20.0, rng, talks=0.95) for _ in range(4)])
    for at_s in np.arange(3.0, 19.0, 0.9):
        x[round(at_s * RATE) : round((at_s + 0.05) * RATE), 2] = 0.0
    assert not told(Crackle(SCENE), x, SCENE, 2).spans_s

"""Every row of the table of injectors against the checks they share, and each fault's own mark."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.inject.base import Planted
from engine.inject.receiver import lose_receiver
from engine.inject.registry import INJECTORS, inject
from engine.model.messages import Fault, Samples, Severity
from engine.model.units import rms_dbfs

RATE = 48000
FRAMES = 10 * RATE
ONSET_S, END_S = 3.0, 8.0
FLOOR_DBFS = -58.0
TRACKS = {Fault.DUPLICATE: (1, 3), Fault.SWAPPED: (1, 3)}


def place() -> Samples:
    """Four tracks of room noise at -58 dBFS with words in it, shape (frames, 4)."""
    rng = np.random.default_rng(7)
    noise = rng.standard_normal((4, FRAMES)).astype(np.float32)
    noise *= 10 ** (FLOOR_DBFS / 20) / math.sqrt(2)
    time_s = np.arange(FRAMES) / RATE
    words = np.clip(np.sin(2 * np.pi * 0.6 * time_s), 0, None) ** 0.5
    for track in range(4):
        noise[track] += 0.1 * words * np.sin(2 * np.pi * (180 + 70 * track) * time_s)
    return noise.T


@pytest.fixture(scope="module")
def clean() -> Samples:
    """The same clean tracks for every test; read-only, so that a careless injector fails."""
    samples = place()
    samples.flags.writeable = False
    return samples


def put(
    clean: Samples, fault: Fault, strength: float = 1.0, seed: int = 1
) -> tuple[Samples, Planted]:
    """The fault over the usual span."""
    rng = np.random.default_rng(seed)
    tracks = TRACKS.get(fault, (2,))
    return inject(clean, RATE, fault, tracks, ONSET_S, END_S, strength, rng)


def level_dbfs(samples: Samples) -> float:
    """AES17 RMS of all that is given."""
    return float(rms_dbfs(np.mean(samples.astype(np.float64) ** 2)))


def changed(clean: Samples, done: Samples) -> np.ndarray:
    """Where the samples differ, (frames, tracks)."""
    return np.asarray(clean != done)


@pytest.mark.parametrize("fault", INJECTORS)
@settings(max_examples=8, deadline=None)
@given(strength=st.floats(0.0, 1.0), seed=st.integers(0, 2**20))
def test_span_only(clean: Samples, fault: Fault, strength: float, seed: int) -> None:
    """Outside the span and the tracks asked for, no sample changes, and none becomes no number."""
    samples = clean[: 6 * RATE]
    rng = np.random.default_rng(seed)
    tracks = TRACKS.get(fault, (2,))
    done, truth = inject(samples, RATE, fault, tracks, 2.0, 5.0, strength, rng)
    where = changed(samples, done)
    assert not where[: 2 * RATE].any()
    assert not where[5 * RATE :].any()
    assert set(np.flatnonzero(where.any(axis=0)) + 1) <= set(tracks)
    assert np.isfinite(done).all()
    assert done.dtype == np.float32
    assert 2.0 <= truth.onset_s < truth.end_s <= 5.0
    assert truth.fault is fault
    assert truth.tracks == tracks
    assert all(a < b for a, b in truth.events_s)


@pytest.mark.parametrize("fault", INJECTORS)
def test_something_changes(clean: Samples, fault: Fault) -> None:
    """Every fault at full strength changes its track within its first 50 ms of truth."""
    done, truth = put(clean, fault)
    first = round(truth.onset_s * RATE)
    assert changed(clean, done)[first : first + RATE // 20].any()


@pytest.mark.parametrize("fault", INJECTORS)
def test_seed_decides(clean: Samples, fault: Fault) -> None:
    """The same seed gives the same samples and the same truth."""
    one, truth_one = put(clean, fault, 0.4, seed=5)
    two, truth_two = put(clean, fault, 0.4, seed=5)
    assert np.array_equal(one, two)
    assert truth_one == truth_two


@pytest.mark.parametrize("fault", INJECTORS)
def test_in_place(clean: Samples, fault: Fault) -> None:
    """Written in place, the samples are the same as in a copy."""
    copy, _ = put(clean, fault, 0.7)
    own = clean.copy(order="K")
    rng = np.random.default_rng(1)
    tracks = TRACKS.get(fault, (2,))
    done, _ = inject(own, RATE, fault, tracks, ONSET_S, END_S, 0.7, rng, in_place=True)
    assert done is own
    assert np.array_equal(own, copy)


@pytest.mark.parametrize(
    ("tracks", "onset_s", "end_s", "strength"),
    [((), 1, 2, 0.5), ((5,), 1, 2, 0.5), ((0,), 1, 2, 0.5), ((1,), 2, 2, 0.5), ((1,), 1, 2, 1.1)],
)
def test_refused(
    clean: Samples, tracks: tuple[int, ...], onset_s: float, end_s: float, strength: float
) -> None:
    """No track, a track the samples lack, an empty span and a strength out of range are refused."""
    rng = np.random.default_rng(0)
    with pytest.raises(ValueError, match=r"give|check"):
        inject(clean, RATE, Fault.MUTED, tracks, onset_s, end_s, strength, rng)


def test_unknown_fault(clean: Samples) -> None:
    """A fault nothing can put in is refused by name."""
    with pytest.raises(ValueError, match="no injector for input_lost"):
        inject(clean, RATE, Fault.INPUT_LOST, (1,), 1, 2, 0.5, np.random.default_rng(0))


def test_needs_second_track(clean: Samples) -> None:
    """A duplicate and an unexpected signal say that they need a second track."""
    for fault in (Fault.DUPLICATE, Fault.UNEXPECTED):
        with pytest.raises(ValueError, match="track"):
            inject(clean[:, :1], RATE, fault, (1,), 1, 2, 0.5, np.random.default_rng(0))


def test_muted_is_dead(clean: Samples) -> None:
    """Muted is digital zero, one value, or a converter's noise (CONTRACT.md: under -87 dBFS)."""
    span = slice(round(ONSET_S * RATE), round(END_S * RATE))
    assert not put(clean, Fault.MUTED, 1.0)[0][span, 1].any()
    assert np.ptp(put(clean, Fault.MUTED, 0.5)[0][span, 1]) == 0.0
    for strength in (0.0, 0.1, 0.2):
        idle = put(clean, Fault.MUTED, strength)[0][span, 1]
        assert idle.any()
        assert level_dbfs(idle) < -88.0


@pytest.mark.parametrize("fault", [Fault.SILENT, Fault.DEAD_MIC, Fault.LOW, Fault.PAIR_DRIFT])
def test_stronger_is_fainter(clean: Samples, fault: Fault) -> None:
    """A stronger loss leaves less sound in the second half of the span."""
    half = slice(6 * RATE, round((END_S - 0.1) * RATE))
    levels = [level_dbfs(put(clean, fault, s, seed=3)[0][half, 1]) for s in (0.0, 0.5, 1.0)]
    assert levels[0] > levels[1] > levels[2]


@pytest.mark.parametrize("fault", [Fault.HUM, Fault.NOISE_BURST, Fault.UNEXPECTED])
def test_stronger_is_louder(clean: Samples, fault: Fault) -> None:
    """A stronger added sound changes the samples by more."""
    added = [level_dbfs(put(clean, fault, s, seed=3)[0] - clean) for s in (0.0, 0.5, 1.0)]
    assert added[0] < added[1] < added[2]


def test_dead_mic_is_steady(clean: Samples) -> None:
    """A dead mic's noise lies under the live floor and its 100 ms levels within 1.5 dB.

    Source of the bound: the chi-square spread of 4800 independent samples is 0.1 dB; the 1/f part
    adds what it may.
    """
    for seed in range(3):
        done, _ = put(clean, Fault.DEAD_MIC, 0.3, seed)
        rest = done[5 * RATE : 7 * RATE, 1].reshape(-1, RATE // 10)
        levels = [level_dbfs(part) for part in rest]
        assert max(levels) < FLOOR_DBFS - 6.0
        assert np.ptp(levels) < 1.5


@pytest.mark.parametrize("strength", [0.0, 0.5, 1.0])
def test_dropout_gaps(clean: Samples, strength: float) -> None:
    """Gaps last 5 to 500 ms (CONTRACT.md) and fall at least 20 dB under the floor within 3 ms."""
    done, truth = put(clean, Fault.DROPOUT, strength)
    for begin_s, end_s in truth.events_s:
        assert 0.005 - 1e-4 <= end_s - begin_s <= 0.5
        inside = done[round((begin_s + 0.002) * RATE) : round((end_s - 0.002) * RATE), 1]
        assert level_dbfs(inside) < FLOOR_DBFS - 18.0


def test_events_apart_and_red(clean: Samples) -> None:
    """Gaps stand in order without touching; three in 10 s are red, fewer amber (CONTRACT.md)."""
    seen = set()
    for seed in range(20):
        _, truth = put(clean, Fault.DROPOUT, 0.5, seed)
        ends = [end for _, end in truth.events_s[:-1]]
        assert all(end < begin for end, (begin, _) in zip(ends, truth.events_s[1:], strict=True))
        assert truth.severity is (Severity.RED if len(truth.events_s) >= 3 else Severity.AMBER)
        seen.add(truth.severity)
    assert seen == {Severity.RED, Severity.AMBER}


def test_clipped_has_flat_tops(clean: Samples) -> None:
    """Hard clipping leaves runs of equal samples at its ceiling, more the stronger it is."""
    counts = []
    for strength in (0.0, 0.5, 1.0):
        found = 0
        for seed in range(6):
            done, truth = put(clean, Fault.CLIPPED, strength, seed)
            if "tilted" in truth.remark or "knee" in truth.remark:
                continue
            track = done[:, 1]
            found += int(np.sum(np.diff(track[np.abs(track) > 0.2]) == 0.0))
        counts.append(found)
    assert 0 < counts[0] < counts[1] < counts[2]


def test_clipped_leaves_the_place(clean: Samples) -> None:
    """Where nobody speaks, an overload changes the level by less than 2 dB."""
    done, _ = put(clean, Fault.CLIPPED, 0.5)
    pause = slice(round(4.6 * RATE), round(4.9 * RATE))
    assert abs(level_dbfs(done[pause, 1]) - level_dbfs(clean[pause, 1])) < 2.0


def test_hum_level_and_lines(clean: Samples) -> None:
    """The mains lines add up to the level told, all on multiples of 50 or 60 Hz."""
    for seed in range(4):
        done, truth = put(clean, Fault.HUM, 0.5, seed)
        hum = (done - clean)[4 * RATE : 6 * RATE, 1].astype(np.float64)
        assert level_dbfs(hum) == pytest.approx(-64.0 + 22.0, abs=0.3)
        power = np.abs(np.fft.rfft(hum * np.hanning(len(hum)))) ** 2
        hz = np.fft.rfftfreq(len(hum), 1 / RATE)
        mains = 50.0 if truth.remark.startswith("50") else 60.0
        off = np.abs(hz - mains * np.round(hz / mains))
        assert power[(off < 4.0) & (hz > 30)].sum() > 0.99 * power.sum()


def test_swapped_inputs_carry_each_other(clean: Samples) -> None:
    """Each has the other's samples, bit for bit; one track alone is refused."""
    done, truth = put(clean, Fault.SWAPPED, 0.5)
    first, last = (round(at_s * RATE) for at_s in (truth.onset_s, truth.end_s))
    np.testing.assert_array_equal(done[first:last, 0], clean[first:last, 2])
    np.testing.assert_array_equal(done[first:last, 2], clean[first:last, 0])
    with pytest.raises(ValueError, match="two tracks"):
        inject(clean, RATE, Fault.SWAPPED, (1,), 5.0, 9.0, 0.5, np.random.default_rng(1))


def test_duplicate_bit_exact(clean: Samples) -> None:
    """At full strength the copy equals its source sample by sample; lower, it nearly does."""
    span = slice(round(ONSET_S * RATE), round(END_S * RATE))
    exact, _ = put(clean, Fault.DUPLICATE, 1.0)
    assert np.array_equal(exact[span, 2], clean[span, 0])
    near, _ = put(clean, Fault.DUPLICATE, 0.6)
    assert not np.array_equal(near[span, 2], clean[span, 0])
    assert np.corrcoef(near[span, 2], clean[span, 0])[0, 1] > 0.999


def test_polarity_inverts(clean: Samples) -> None:
    """Each sample of the span is the negative of what it was."""
    done, _ = put(clean, Fault.POLARITY)
    span = slice(round(ONSET_S * RATE), round(END_S * RATE))
    assert np.array_equal(done[span, 1], -clean[span, 1])


def test_short_faults_deserve_nothing(clean: Samples) -> None:
    """A fault shorter than its amber delay deserves no alarm; the delays are by CONTRACT.md."""
    rng = np.random.default_rng(0)
    expected = {0.3: None, 0.6: Severity.AMBER, 2.5: Severity.RED}
    for lasts_s, severity in expected.items():
        _, truth = inject(clean, RATE, Fault.MUTED, (1,), 2.0, 2.0 + lasts_s, 1.0, rng)
        assert truth.severity is severity


def test_receiver_takes_all(clean: Samples) -> None:
    """All tracks of a receiver fail within 0.5 s, and the clean samples stay as they were."""
    rng = np.random.default_rng(3)
    done, truths = lose_receiver(clean, RATE, (1, 2, 4), ONSET_S, END_S, 1.0, rng)
    assert [t.tracks for t in truths] == [(1,), (2,), (4,)]
    assert all(ONSET_S <= t.onset_s <= ONSET_S + 0.5 for t in truths)
    assert not done[round(3.6 * RATE) : round(END_S * RATE)][:, [0, 1, 3]].any()
    assert np.array_equal(done[:, 2], clean[:, 2])
    assert np.array_equal(clean, place())

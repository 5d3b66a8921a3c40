"""The true-peak interpolator: its skipping is proven, its memory exact.

Source: ITU-R BS.1770-5 (11/2023), Annex 2, coefficients of the order-48, four-phase interpolating
filter: copied here from the publication, not from the program.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from scipy.signal import upfirdn

from engine.measure.level import measure_hops
from engine.measure.true_peak import GAIN_BOUND, PHASES, TruePeak
from engine.model.messages import Samples
from tests.support.signals import noise
from tests.support.strategies import takes, untimed

HOP = 80

# fmt: off
ANNEX_2 = np.array([  # phases 0 to 3, one column each, as the publication prints them
    [ 0.0017089843750, -0.0291748046875, -0.0189208984375, -0.0083007812500],
    [ 0.0109863281250,  0.0292968750000,  0.0330810546875,  0.0148925781250],
    [-0.0196533203125, -0.0517578125000, -0.0582275390625, -0.0266113281250],
    [ 0.0332031250000,  0.0891113281250,  0.1015625000000,  0.0476074218750],
    [-0.0594482421875, -0.1665039062500, -0.2003173828125, -0.1022949218750],
    [ 0.1373291015625,  0.4650878906250,  0.7797851562500,  0.9721679687500],
    [ 0.9721679687500,  0.7797851562500,  0.4650878906250,  0.1373291015625],
    [-0.1022949218750, -0.2003173828125, -0.1665039062500, -0.0594482421875],
    [ 0.0476074218750,  0.1015625000000,  0.0891113281250,  0.0332031250000],
    [-0.0266113281250, -0.0582275390625, -0.0517578125000, -0.0196533203125],
    [ 0.0148925781250,  0.0330810546875,  0.0292968750000,  0.0109863281250],
    [-0.0083007812500, -0.0189208984375, -0.0291748046875,  0.0017089843750],
]).T
# fmt: on
TAPS = ANNEX_2.T.ravel()


def _peak(take: Samples, skip: bool, hops_at_once: int = 10) -> np.ndarray:
    meter = TruePeak(take.shape[1], skip=skip)
    size = HOP * hops_at_once
    for start in range(0, len(take) - size + 1, size):
        meter.update(measure_hops(take[start : start + size], HOP))
    rest = len(take) % size
    if rest >= HOP:
        meter.update(measure_hops(take[len(take) - rest : len(take) - rest % HOP], HOP))
    if rest % HOP:
        meter.update(measure_hops(take[len(take) - rest % HOP :], rest % HOP))
    return meter.max_dbtp


def test_the_table_is_the_published_one() -> None:
    """Every coefficient is that of BS.1770-5 Annex 2."""
    assert np.array_equal(PHASES, ANNEX_2)


@untimed
@given(take=takes())
def test_skipping_never_changes_the_answer(take: Samples) -> None:
    """The maximum is the same whether hops are skipped by the bound or all are interpolated."""
    assert np.array_equal(_peak(take, skip=True), _peak(take, skip=False))


@untimed
@given(take=takes())
def test_against_plain_polyphase_filter(take: Samples) -> None:
    """The maximum is that of the Annex 2 table run as an ordinary FIR interpolator over all."""
    for n, track in enumerate(take.T.astype(np.float64)):
        dense = upfirdn(TAPS, track, up=4)[: 4 * len(track)]
        expected = max(np.abs(dense).max(), np.abs(track).max())
        got = 10.0 ** (_peak(take, skip=True)[n] / 20.0)
        assert got == pytest.approx(expected, rel=1e-5, abs=1e-9)


@untimed
@given(take=takes())
def test_bound_holds(take: Samples) -> None:
    """No interpolated value exceeds the bound times the largest sample."""
    for track in take.T:
        dense = upfirdn(TAPS, track.astype(np.float64), up=4)
        assert np.abs(dense).max() <= GAIN_BOUND * np.abs(track).max()


def test_bound_is_reached() -> None:
    """The bound is tight: the samples' signs can be chosen so that it is met within 0.01 %."""
    worst = np.sign(ANNEX_2[1][::-1])
    dense = upfirdn(TAPS, worst, up=4)
    assert np.abs(dense).max() == pytest.approx(GAIN_BOUND, rel=1e-4)


def test_spaces_beside_a_lost_hop_do_not_count() -> None:
    """A hop lost from a loud constant makes no overshoot at its edges."""
    take = np.full((800, 1), 0.9, dtype=np.float32)
    take[:80] *= np.linspace(0.0, 1.0, 80, dtype=np.float32)[:, None]
    whole = _peak(take, skip=False)
    take[400] = np.nan
    assert _peak(take, skip=False) == pytest.approx(whole, abs=1e-6)


def test_never_below_the_sample_peak() -> None:
    """True peak is at least the sample peak, even where no phase meets the sample."""
    take = noise(-20.0, 0.1, 8000)
    take[300] = 0.5
    assert _peak(take, skip=True)[0] >= 20.0 * np.log10(0.5)

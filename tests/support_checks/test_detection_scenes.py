"""The benchmark's own parts on small made-up recordings: no download, a second or two."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.inject.registry import INJECTORS
from tests.benchmarks.detection.audible import hum_audible
from tests.benchmarks.detection.fetch import spoken
from tests.benchmarks.detection.library import RATE, Library, Recording, cut, floor_rms
from tests.benchmarks.detection.planting import (
    CARDS_A_SCENE,
    DEAD_START,
    ELSEWHERE,
    FAULTS,
    HEALTHY_EVERY,
    RECEIVER,
    STRENGTHS,
    Card,
    Planter,
    cards_for,
)
from tests.benchmarks.detection.scenes import LAST, SHOUT_TOP, build
from tests.benchmarks.detection.truths import background_dbfs
from tests.support.harmless_sound import voice


@pytest.fixture(scope="module")
def library() -> Library:
    """Two voices of three words, one place."""
    rng = np.random.default_rng(0)
    word = np.sin(np.arange(RATE) * 0.03) * np.hanning(RATE) * 0.1
    words = np.concatenate([word, -word, 0.5 * word]).astype(np.float32)
    ends = (RATE, 2 * RATE, 3 * RATE)
    bed = rng.standard_normal(5 * RATE, dtype=np.float32)
    return Library(
        (
            Recording("one", "voice", words, ends),
            Recording("two", "voice", words[::-1].copy(), ends),
            Recording("room", "place", bed, (5 * RATE,)),
            Recording("knock", "impact", words, ends),
            Recording("song", "music", bed, (5 * RATE,)),
        ),
        rng.standard_normal(2 * RATE, dtype=np.float32),
    )


def test_every_fault_in_turn() -> None:
    """Over one lap of seeds each fault comes at each strength exactly once; every fourth seed has
    nothing wrong."""
    kinds = [*FAULTS, DEAD_START, RECEIVER]
    assert {*FAULTS, *(fault.value for fault in ELSEWHERE)} == {f.value for f in INJECTORS}
    scenes = len(kinds) * len(STRENGTHS) // CARDS_A_SCENE
    seeds = range(scenes * HEALTHY_EVERY // (HEALTHY_EVERY - 1) + 1)
    dealt = [card for seed in seeds for card in cards_for(seed)][: scenes * CARDS_A_SCENE]
    assert Counter(dealt) == Counter(Card(k, s) for k in kinds for s in STRENGTHS)
    assert not any(cards_for(seed) for seed in range(HEALTHY_EVERY - 1, 100, HEALTHY_EVERY))


def test_scene_is_healthy_and_repeatable(library: Library) -> None:
    """One seed gives one scene; healthy sound never touches full scale or digital silence."""
    one = build(library, 3, 30.0, unused=False)
    two = build(library, 3, 30.0, unused=False)
    assert np.array_equal(one.samples, two.samples)
    assert one.samples.shape == (30 * RATE, LAST)
    assert np.abs(one.samples).max() <= SHOUT_TOP + 1e-3
    hops = one.samples.reshape(-1, RATE // 100, LAST)
    assert np.all(np.abs(hops).max(axis=1) > 0.0)


def test_planted_only_where_told(library: Library) -> None:
    """Away from the truths' tracks and times the planted scene is the healthy one."""
    clean = build(library, 4, 60.0, unused=True).samples
    stage = build(library, 4, 60.0, unused=True)
    planter = Planter(stage, np.random.default_rng(9))
    planter.plant_all([Card("muted", 0.9), Card("hum", 0.5), Card("dropout", 0.5)])
    assert len(planter.truths) == 3
    for truth in planter.truths:
        first, last = int(truth.onset_s * RATE), int(truth.end_s * RATE) + 1
        for track in truth.tracks:
            stage.samples[first:last, track - 1] = clean[first:last, track - 1]
    assert np.array_equal(stage.samples, clean)


def test_cut_repeats_without_a_seam(library: Library) -> None:
    """A bed longer than its recording keeps its level throughout."""
    bed = cut(library.of("place")[0].samples, 60 * RATE, np.random.default_rng(1))
    assert len(bed) == 60 * RATE
    assert floor_rms(bed) == pytest.approx(1.0, abs=0.1)


def test_floor_knows_no_future() -> None:
    """The floor for counting speech follows the place: what comes later changes nothing before."""
    rng = np.random.default_rng(4)
    sound = rng.standard_normal(80 * RATE, dtype=np.float32) * np.float32(0.001)
    sound[50 * RATE :] *= np.float32(0.1)
    floors = background_dbfs(sound)
    # White noise of RMS 0.001 is -57 dBFS by AES17; a tenth of its 125 ms lies a little under it.
    assert floors[: 50 * 100] == pytest.approx(-57.0, abs=0.3)
    assert floors[60 * 100 :] == pytest.approx(-77.0, abs=0.3)


def test_hum_is_audible_in_a_pause_only() -> None:
    """A line 20 dB over its critical band's noise is audible, under a loud low voice it is not."""
    rng = np.random.default_rng(2)
    time_s = np.arange(4 * RATE) / RATE
    sound = 1e-3 * np.sin(2.0 * np.pi * 50.0 * time_s) + 1e-3 * rng.standard_normal(len(time_s))
    masked = (time_s >= 2.0) & (time_s < 3.0)
    sound[masked] += 0.1 * rng.standard_normal(RATE)
    heard = hum_audible(sound.astype(np.float32), RATE)
    assert heard[:14].all()
    assert not heard[20:25].any()
    assert not hum_audible((1e-3 * rng.standard_normal(4 * RATE)).astype(np.float32), RATE).any()


def test_a_voice_whose_peaks_were_taken_is_no_healthy_sound() -> None:
    """Speech that was driven into a ceiling before a codec bent its tops is left out."""
    rng = np.random.default_rng(4)
    said = voice(6.0, -20.0, rng, talks=0.9)
    peak = float(np.abs(said).max())
    squared = np.clip(said, -0.15 * peak, 0.15 * peak)
    sos = butter(2, 9000.0, fs=RATE, output="sos")
    kept, refused = (sosfilt(sos, one).astype(np.float32) for one in (said, squared))
    assert spoken(kept) is not None
    assert spoken(refused) is None

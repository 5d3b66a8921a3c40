"""Parts of speech: the ratio of two packs, and how far a sound on one of them may have moved it."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.pair_parts import BANDS, PairParts, Part
from engine.detectors.pairs import Pairs
from engine.model.messages import Fault, PackLevel, Samples
from engine.model.tracks import Scene, Track
from tests.support.harmless_sound import RATE, delayed, room, takes, voice
from tests.support.pack_pair import PAIR, packs
from tests.support.signals import noise
from tests.support.watching import measurements

TWO_PAIRS = Scene(
    tuple(
        Track(2 * n + k + 1, who=who, level=level)
        for n, who in enumerate(("foreman", "ringer"))
        for k, level in enumerate((PackLevel.MAIN, PackLevel.SAFETY))
    ),
    RATE,
)


def parts_of(samples: Samples, scene: Scene, pair: int = 0) -> list[Part]:
    """All parts of one pair whose offset is not known."""
    pairs = Pairs(scene, Fault.PAIR_DRIFT)
    adding = PairParts(pairs, voiced=4.0, lost_db=22.0, one_voice=0.5)
    unknown = np.full((BANDS, len(pairs)), np.nan)
    return [
        part
        for m, _ in measurements(samples, scene)
        for at, part in adding.update(m, unknown)
        if at == pair
    ]


def test_the_ratio_of_the_gains() -> None:
    """Two packs 12 dB apart: so are voice and treble, and no doubt is left."""
    found = parts_of(packs(30.0), PAIR)
    assert len(found) > 40
    for part in found:
        assert part.offset_db[0] == pytest.approx(12.0, abs=0.5)
        assert part.doubt_db < 0.5


def test_what_one_pack_adds_lies_within_the_doubt() -> None:
    """Noise in bursts on the main moves the ratio by no more than what is doubted."""
    x = packs(30.0)
    slow = noise(-22.0, 30.0, RATE, seed=3)[:, 0]
    on = np.arange(len(x)) / RATE % 0.9 < 0.3
    x[:, 0] += slow * on * np.float32(0.1)
    doubtful = [part for part in parts_of(x, PAIR) if part.doubt_db > 0.5]
    for part in doubtful:
        assert abs(part.offset_db[0] - 12.0) <= part.doubt_db + 1.0


def test_an_embrace_is_nobodys_own_speech() -> None:
    """Two bodies so close that each voice is as loud on the other's packs teach nothing."""
    rng = np.random.default_rng(4)
    one, other = voice(40.0, -28.0, rng), voice(40.0, -28.0, rng)
    columns = []
    for near, far, gain_db in ((one, other, 0.0), (one, other, -12.0)) * 2:
        own, theirs = (near, far) if len(columns) < 2 else (far, near)
        late = delayed(theirs, 5 + len(columns))
        sound = own + 0.8 * late + room(40.0, -62.0, rng)
        columns.append(sound * 10 ** (gain_db / 20))
    assert len(parts_of(takes(columns), TWO_PAIRS)) < 12

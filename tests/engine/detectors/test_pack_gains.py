"""Gains of packs, one against the other: what came through the air differs as the voice does."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.pack_gains import PackGains
from engine.model.messages import PackLevel
from engine.model.tracks import Scene, Track
from tests.support import harmless_sound as sound
from tests.support.watching import measurements

SCENE = Scene(
    (
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
        Track(3, who="rigger"),
    ),
    sound.RATE,
)


@pytest.fixture(scope="module")
def gains() -> PackGains:
    """A voice, 12 dB fainter on the safety."""
    rng = np.random.default_rng(1)
    voice = sound.voice(20.0, -24.0, rng, talks=0.9)
    tracks = [
        gain * voice + sound.room(20.0, dbfs, rng)
        for gain, dbfs in ((1.0, -58.0), (0.25, -70.0), (0.0, -58.0))
    ]
    learned = PackGains(SCENE)
    for m, _ in measurements(sound.takes(tracks), SCENE):
        learned.learn(m)
    return learned


@pytest.mark.parametrize(("louder_db", "sound_in_air"), [(12.0, True), (9.0, True), (0.0, False)])
def test_sound_differs_as_the_voice_does(
    gains: PackGains, louder_db: float, sound_in_air: bool
) -> None:
    """An engine may reach both from another side; what is as loud on both came behind them."""
    assert gains.is_sound(0, louder_db) is sound_in_air
    assert gains.is_sound(1, -louder_db) is sound_in_air


def test_what_one_alone_has_is_none(gains: PackGains) -> None:
    """It stands 30 dB over what the other has of it."""
    assert not gains.is_sound(0, 30.0)


@pytest.mark.parametrize(
    ("louder_db", "sound_in_air"), [(12.0, True), (0.0, False), (-12.0, False), (40.0, False)]
)
def test_until_somebody_speaks_the_main_is_the_louder(louder_db: float, sound_in_air: bool) -> None:
    """So the gains are staggered; hum at both outputs is as loud on both, or on one alone."""
    assert PackGains(SCENE).is_sound(0, louder_db) is sound_in_air
    assert PackGains(SCENE).is_sound(1, -louder_db) is sound_in_air


def test_only_pairs_have_mates(gains: PackGains) -> None:
    """A performer with one pack has none."""
    assert gains.mates == {0: 1, 1: 0}

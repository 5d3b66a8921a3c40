"""Gains turned amid words and waves, and on everything at once, on sound made from physics.

Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.measure.meter import Meter
from engine.model.messages import Kind, PackLevel, Samples
from engine.model.tracks import Scene, Track
from tests.support import harmless_sound as sound
from tests.support.harmless_sound import Wave

AT_S = 18.0
SECONDS = 32.0
SCENE = Scene(
    (
        Track(1, who="Ada", level=PackLevel.MAIN),
        Track(2, who="Ada", level=PackLevel.SAFETY),
        Track(3, who="Ben", level=PackLevel.MAIN),
        Track(4, kind=Kind.BOOM),
        Track(5, kind=Kind.AMBIENCE),
    ),
    sound.RATE,
)
Turn = tuple[float, int, float]
Change = Callable[[Wave], Wave]


def spoken(talks: float, waves_db: float, seed: int = 3) -> list[Wave]:
    """Ada speaks into two packs, among waves that rise and fall by so much, and a second voice."""
    rng = np.random.default_rng(seed)
    ada = sound.voice(SECONDS, -24.0, rng, talks=talks)
    ben = sound.voice(SECONDS, -26.0, rng, talks=0.3)
    sea = sound.swaying(SECONDS, rng, 2.5, waves_db)
    columns = []
    for level_dbfs, own_db, other_db in (
        (-58.0, 0.0, -25.0),
        (-70.0, -10.0, -36.0),
        (-57.0, -26.0, 0.0),
        (-50.0, -16.0, -16.0),
        (-54.0, -30.0, -30.0),
    ):
        place = sound.room(SECONDS, level_dbfs, rng) * sea
        columns.append(place + ada * 10 ** (own_db / 20) + ben * 10 ** (other_db / 20))
    return columns


def turns(samples: Samples) -> list[Turn]:
    """(second, index, dB) of each step that was recognised; and that the floors followed."""
    meter, found = Meter(SCENE), []
    ticks = samples[: len(samples) - len(samples) % meter.tick_frames]
    for tick in ticks.reshape(-1, meter.tick_frames, samples.shape[1]):
        m = meter.update(tick)
        for index in np.flatnonzero(m.gain_step_db).tolist():
            assert not np.isnan(m.floor_dbfs[index])
            found.append((m.end_s, index, float(m.gain_step_db[index])))
    return found


def changed(columns: list[Wave], index: int, change: Change) -> Samples:
    """One track changed from `AT_S` on."""
    first, columns = round(AT_S * sound.RATE), list(columns)
    columns[index] = np.concatenate([columns[index][:first], change(columns[index])[first:]])
    return sound.takes(columns)


@pytest.mark.parametrize("gain_db", [-8.0, 8.0, 18.0])
@pytest.mark.parametrize("index", [0, 1])
def test_a_gain_turned_amid_words_and_waves(index: int, gain_db: float) -> None:
    """Up within the five seconds after which `noise` is told, down once she has paused; on the
    pack that was turned, and once."""
    columns = spoken(talks=0.75 if gain_db > 0.0 else 0.5, waves_db=5.0)
    columns[index] = sound.amplified(columns[index], gain_db, AT_S)
    ((at_s, found, step_db),) = turns(sound.takes(columns))
    assert found == index
    assert step_db == pytest.approx(gain_db, abs=1.5)
    assert at_s < AT_S + (5.0 if gain_db > 0.0 else 10.0)


@pytest.mark.parametrize("waves_db", [0.5, 5.0])
@pytest.mark.parametrize("what", ["nothing", "cloth", "hiss", "loss"])
def test_what_moves_only_some_of_the_sound_is_no_turn(what: str, waves_db: float) -> None:
    """Cloth takes the treble, a link's hiss lifts what is faint, and 30 dB are lost."""
    cloth = butter(1, 1_500.0, fs=sound.RATE, output="sos")
    hiss = sound.at_level(np.random.default_rng(9).standard_normal(round(SECONDS * 48_000)), -50.0)
    change: dict[str, Change] = {
        "nothing": lambda x: x,
        "cloth": lambda x: np.asarray(0.6 * sosfilt(cloth, x)),
        "hiss": lambda x: x + hiss,
        "loss": lambda x: x * 10 ** (-30 / 20),
    }
    assert turns(changed(spoken(talks=0.6, waves_db=waves_db), 0, change[what])) == []


def test_a_head_that_turns_is_no_gain() -> None:
    """From a moment on her voice reaches one of her packs 7 dB louder, and the place as ever."""
    columns, first = spoken(talks=0.3, waves_db=0.5), round(AT_S * sound.RATE)
    said = sound.voice(SECONDS, -24.0, np.random.default_rng(11), talks=0.8)
    nearer = np.arange(len(said)) >= first
    columns[0] += said * np.where(nearer, 10 ** (7 / 20), 1.0)
    columns[1] += said * 10 ** (-10 / 20)
    assert turns(sound.takes(columns)) == []


@pytest.mark.parametrize("gain_db", [-20.0, -12.0, 12.0])
def test_a_fader_that_holds_all(gain_db: float) -> None:
    """Every mic moves, whatever is said, and learned levels follow, those too of which it seemed at
    first that their source had stopped."""
    columns = [sound.amplified(x, gain_db, AT_S) for x in spoken(talks=0.4, waves_db=0.5)]
    found = turns(sound.takes(columns))
    assert [index for _, index, _ in found] == [0, 1, 2, 3, 4]
    assert [step_db for _, _, step_db in found] == pytest.approx([gain_db] * 5, abs=2.5)
    assert found[0][0] < AT_S + 10.0


def test_a_fader_that_is_closed_is_a_loss() -> None:
    """By 35 dB nobody trims a level."""
    columns = [sound.amplified(x, -35.0, AT_S) for x in spoken(talks=0.4, waves_db=0.5)]
    assert turns(sound.takes(columns)) == []


def test_a_machine_that_stops_is_no_fader() -> None:
    """All mics fall by as much as it was louder than what is left, to another sound."""
    rng, columns = np.random.default_rng(4), spoken(talks=0.3, waves_db=0.5)
    runs = np.arange(round(SECONDS * sound.RATE)) < round(AT_S * sound.RATE)
    for index, x in enumerate(columns):
        fan = sound.band(rng.standard_normal(len(x)), 150.0, 2_500.0, order=1)
        columns[index] = x + sound.at_level(fan, -44.0 - 2.0 * index) * runs
    assert turns(sound.takes(columns)) == []

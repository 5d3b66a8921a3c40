"""What pairs do in health and what a slip does to them, in parts of speech made without sound."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.pair_change import leaves, sure_change_db
from engine.detectors.pair_gains import as_loud
from engine.detectors.pair_parts import BANDS, Part
from engine.detectors.pair_turns import band_medians
from engine.model.messages import Levels

RNG = np.random.default_rng(7)


def parts(
    main_db: Levels, safety_db: Levels, dull_db: float = 18.0, varies_db: float = 3.0
) -> list[Part]:
    """Parts of a voice whose loudness varies so, changed on each pack by so many decibels."""
    made = []
    for n, (main, safety) in enumerate(zip(main_db, safety_db, strict=True)):
        said_db = -28.0 + RNG.normal(0.0, varies_db)
        level_db = np.array([said_db + main, said_db - 12.0 + safety])
        offset_db = np.full(BANDS, level_db[0] - level_db[1]) + RNG.normal(0.0, 0.4, BANDS)
        made.append(
            Part(
                offset_db,
                0.5,
                level_db,
                np.full((BANDS - 1, 2), dull_db),
                np.full((BANDS, 2), -60.0),
                0.3 * n,
            )
        )
    return made


def off(before: list[Part], newest: list[Part]) -> bool:
    """Whether the voice or its treble is said to have changed for good."""
    usual_db = band_medians([part.offset_db for part in before])
    change_db = sure_change_db(newest, before + newest, usual_db)
    return bool(leaves(newest, before, usual_db, change_db, sure=True).bands.any())


@pytest.mark.parametrize("fallen", [0, 1])
def test_a_slip_is_off(fallen: int) -> None:
    """One pack 6 dB fainter, voice and treble, while the other stays."""
    still, fell = np.zeros(28), np.full(28, -6.0)
    newest = parts(fell, still) if fallen == 0 else parts(still, fell)
    assert off(parts(np.zeros(40), np.zeros(40)), newest)


def test_a_head_that_is_turned_for_a_while_is_not() -> None:
    """What one pack loses the other gains: 3.5 dB each, for 28 parts of speech."""
    turn_db = np.full(28, 3.5)
    assert not off(parts(np.zeros(40), np.zeros(40)), parts(turn_db, -turn_db))


@pytest.mark.parametrize("seed", range(8))
def test_a_head_that_never_rests_is_not(seed: int) -> None:
    """It turns to one shoulder or the other with each sentence, by up to 6 dB on each pack."""
    turns = np.random.default_rng(seed).uniform(-6.0, 6.0, 20)
    sway_db = np.convolve(np.repeat(turns, 6), np.ones(4) / 4.0, mode="same")
    swaying = parts(sway_db, -sway_db)
    for newest in range(60, 120, 4):
        assert not off(swaying[: newest - 28], swaying[newest - 28 : newest])


@pytest.mark.parametrize("shift", range(8))
def test_turns_count_wherever_blocks_are_cut(shift: int) -> None:
    """Turned by 6 dB on each pack for 2 s of speech and back for as long, then held for 7 s: how
    the turns lie to the blocks must not matter."""
    turns_db = np.roll(np.repeat([-6.0, 6.0] * 2, 8), shift)
    held_db = np.full(28, -9.0)
    assert not off(parts(turns_db, -turns_db), parts(held_db, -held_db))


def test_few_parts_that_differ_show_a_pair_that_turns() -> None:
    """Three seconds of speech in which a head went from one shoulder to the other are too few for
    blocks, and enough to know."""
    turn_db = np.linspace(7.0, -7.0, 12)
    held_db = np.full(28, -9.0)
    assert not off(parts(turn_db, -turn_db), parts(held_db, -held_db))


def test_what_makes_the_other_pack_louder_is_not() -> None:
    """Twelve decibels of something on one pack: the other hears its wearer as before."""
    assert not off(parts(np.zeros(40), np.zeros(40)), parts(np.full(28, 12.0), np.zeros(28)))


def test_half_unknown_is_unknown() -> None:
    """A treble that is heard in fewer than half of the parts has no median."""
    table = np.array([[1.0, np.nan], [3.0, np.nan], [2.0, 5.0]])
    assert band_medians(table)[0] == 2.0
    assert np.isnan(band_medians(table)[1])


@pytest.mark.parametrize(("main_db", "limited"), [(5.0, True), (-4.0, False)])
def test_only_a_limiter_makes_the_offset_one_of_loudness(main_db: float, limited: bool) -> None:
    """A shout is 16 dB louder on the safety and held back on the main; of a head that turns to the
    safety the main loses what that gains. Both were so before."""
    safety_db = 16.0 if limited else 6.0
    now = parts(np.full(28, main_db), np.full(28, safety_db))
    before = parts(np.zeros(60), np.zeros(60)) + parts(np.full(24, main_db), np.full(24, safety_db))
    usual_db = band_medians([part.offset_db for part in before])
    like = as_loud(now, before, usual_db, sure_change_db(now, before + now, usual_db))
    assert bool(like) is limited


@pytest.mark.parametrize("held", [True, False])
def test_a_voice_that_grew_soft_as_a_pack_slipped_is_no_limiter(held: bool) -> None:
    """Hardly any speech was as soft before; only a limiter made the ratio depend on loudness."""
    said_db = RNG.normal(0.0, 4.0, 24)
    before = parts(np.zeros(24) if held else said_db, said_db)
    now = parts(np.full(28, -8.0), np.full(28, -24.0 if held else -20.0))
    usual_db = band_medians([part.offset_db for part in before])
    like = as_loud(now, before, usual_db, sure_change_db(now, before + now, usual_db))
    assert like == ([] if held else None)


@pytest.mark.parametrize(
    ("lasts_s", "varies_db", "risen_db", "slipped"),
    [
        (15.0, 0.0, 3.5, False),
        (30.0, 0.0, 3.5, False),
        (15.0, 6.0, 2.4, False),
        (30.0, 6.0, 2.4, True),
    ],
)
def test_what_one_pack_gains_as_the_other_loses_is_a_slip_only_of_a_voice_that_varies(
    lasts_s: float, varies_db: float, risen_db: float, slipped: bool
) -> None:
    """By 7 dB in all, however much was said: a wearer may talk to somebody beside them all
    evening. One who is so much louder now and then may have raised a voice as the pack slipped."""
    loud_db = np.repeat(np.tile([varies_db, -varies_db], 2), 10)
    lasts = round(lasts_s / 0.3)
    said_db = np.concatenate([loud_db, np.full(lasts, risen_db)])
    heard_db = np.concatenate([loud_db, np.full(lasts, risen_db - 7.0)])
    series = parts(said_db, heard_db, varies_db=0.0)
    usual_db = band_medians([part.offset_db for part in series[:40]])
    newest, before = series[-28:], series[:-28]
    change_db = sure_change_db(newest, series, usual_db)
    assert leaves(newest, before, usual_db, change_db, sure=True).bands.any() == slipped

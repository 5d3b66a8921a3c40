"""What moves the ratio of two packs and is no fault of either: a limiter, a gain turned by hand.

Model: a limiter holds one pack back where its wearer is loud, so the ratio depends on the loudness;
a gain turned by hand moves voice, treble and what is steady of one pack alike. Numbers: common
practice, no source, or ours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from engine.detectors.pair_change import BLOCK, split, usual
from engine.detectors.pair_parts import Part
from engine.detectors.pair_turns import band_medians
from engine.model import percentiles
from engine.model.flag_arrays import any_of
from engine.model.messages import Levels

LIKE_DB: Final = 3.0
"""Speech within this of each other is as loud; where hardly any was as faint as the newest, it is
not known where that lies."""
LIMITED_DB: Final = 6.0
"""Where speech as loud lay so far from all the other, a limiter makes the ratio depend on the
loudness."""
HELD: Final = 0.5
"""Nearer to all of it than to nothing."""
GAIN_DB: Final = 1.0
GAIN_SHARE: Final = 0.1
"""A hand that turns a gain moves voice, treble and what is steady alike, within this and this share
of the change. Of a half unplugged one, what is steady falls half as far as the voice."""
UNDER_DB: Final = 10.0
"""What is steady says so where it lies so far under the voice: else it may be voice itself."""


def as_loud(
    newest: list[Part], history: list[Part], offset_db: Levels, change_db: Levels
) -> list[Part] | None:
    """What was as loud before, as the pack hears it that did not fall; None where the ratio of the
    two does not depend on the loudness."""
    before, since = split(newest, history, offset_db, change_db)
    if len(before) < BLOCK:
        return None
    # A limiter holds one pack back, the other changes by all of it; a head gives what it takes.
    moves_db = np.sort((usual(since) - usual(before))[0])
    if moves_db[0] < 0.0 < moves_db[1] or np.abs(moves_db).max() < abs(change_db[0]):
        return None
    heard_by = 0 if change_db[0] > 0 else 1
    now_db = usual(since)[0, heard_by]
    like = [part for part in before if abs(part.level_db[heard_by] - now_db) < LIKE_DB]
    if len(like) < BLOCK:
        fainter = usual(before)[0, heard_by] - now_db > LIKE_DB
        return [] if fainter and _held_back(before, heard_by) else None
    return like if abs(_moved_db(before, like)[0]) > LIMITED_DB else None


def _held_back(parts: list[Part], pack: int) -> bool:
    """Whether a limiter held that pack back: then the ratio falls as the other grows louder, by all
    of it, in the line of least squares through the parts."""
    level_db = np.array([part.level_db for part in parts])
    other_db = level_db[:, 1 - pack] - level_db[:, 1 - pack].mean()
    ratio_db = level_db[:, pack] - level_db[:, 1 - pack]
    return bool(ratio_db @ other_db < -HELD * (other_db @ other_db))


def _moved_db(before: list[Part], since: list[Part]) -> Levels:
    """By how much the ratio of the two packs changed, dB, shape (bands,)."""
    return band_medians([part.offset_db for part in since]) - band_medians(
        [p.offset_db for p in before]
    )


def turned_gain_db(
    newest: list[Part], history: list[Part], offset_db: Levels, change_db: Levels
) -> Levels | None:
    """By how much each pack's gain was turned by hand, dB, shape (2,); None where none was."""
    before, since = split(newest, history, offset_db, change_db)
    if len(before) < BLOCK or any_of(np.isnan(change_db[:2])):
        return None
    voice_db = _moved_db(before, since)[:2]
    steady_db = (_pauses_db(since) - _pauses_db(before))[:2]
    by_db = np.concatenate([change_db[:1], voice_db, steady_db[:, 0] - steady_db[:, 1]])
    alike = np.abs(by_db - by_db[0]) <= GAIN_DB + GAIN_SHARE * abs(by_db[0])
    return steady_db[0] if alike.all() else None


def _pauses_db(parts: list[Part]) -> Levels:
    """What is steady where it is least, dB, shape (bands, 2); NaN where it may be voice."""
    steady_db = np.array([part.steady_db for part in parts])
    least = np.argsort(steady_db[:, 0].sum(axis=1))[: max(len(parts) // 4, 1)]
    pauses_db = percentiles.medians(steady_db[least], axis=0)[0]
    under = band_medians([part.level_db for part in parts]) - pauses_db[0] >= UNDER_DB
    return np.where(under, pauses_db, np.nan)


def with_gains_turned(parts: Sequence[Part], before_db: float, gain_db: Levels) -> list[Part]:
    """Those parts with the gains of main and safety turned by so much, but for what was said since:
    that lies nearer to the new offset of the voice than to the one before."""
    turned_db = gain_db[0] - gain_db[1]
    made = list(parts)
    for n, part in enumerate(made):
        part_db = part.offset_db[0]
        if not abs(part_db - before_db - turned_db) < abs(part_db - before_db):
            made[n] = replace(
                part,
                offset_db=part.offset_db + turned_db,
                level_db=part.level_db + gain_db,
                steady_db=part.steady_db + gain_db,
            )
    return made

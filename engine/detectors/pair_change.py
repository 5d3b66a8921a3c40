"""Whether the newest speech of a pair lies outside what the pair does in health.

Model: heads that turn sway the ratio of two packs for seconds to a minute, give to one what they
take from the other, and have done so before; a pack that slipped or lies under cloth loses voice
and treble at one moment, for good, and gives nothing to the other. So the parts of speech before
and after the step that fits them best are compared: heads alone must hardly ever make them differ
so (`pair_turns`). Wind, rain and knocks make one pack louder instead: then what seems to have
fallen is no fainter and no duller than it was.
Numbers: common practice, no source, or ours, measured on simulated pairs that turn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import islice
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pair_parts import BANDS, Part
from engine.detectors.pair_turns import band_medians, looks, no_heads, rises
from engine.model import percentiles
from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Levels

SIBILANTS: Final = 2
MOST_DB: Final = np.array([4.5, 7.0, 9.0])
"""Change that counts of the voice, of its treble and of sibilants, which turn with the head the
more the higher they are."""
BLOCK: Final = 8
"""Parts in a block, 2 s of speech: longer than a word, shorter than most turns of a head."""
TURNED: Final = 0.65
"""Least share of the newest parts that lie further off, to one side, than two thirds of MOST_DB:
by the sign test, 18 of 28 parts lie so once in 11 times where half of them would (binomial,
arithmetic), and the median must be off as well."""
LOST_TREBLE: Final = 0.5
"""Least share of the change of the voice that the treble shows too, where both packs hear it."""
FAINTER: Final = 0.25
"""The pack that fell hears its wearer fainter than it did by this share of the change at least."""
DULLER: Final = 0.5
"""Where treble or sibilants alone changed, the pack that lost them is duller by this share of the
change."""
SEESAW: Final = 0.33
"""Where the other pack rose by this share of the change, or its sibilants did, a head may have
turned: then it must last longer than a look, and be no more than its loudness varies."""
LOOK_S: Final = 22.0
"""People look to one side for seconds, now and then for some twenty."""
KNOWN: Final = 4 * BLOCK
"""Parts before a change that show how a pair wanders. Of fewer the level of the other pack tells no
head from a slip: the loudness of a voice varies as much as a head gives."""
SHOUT_DB: Final = 9.0
"""What was so much louder than usual says nothing of how the pair wanders in speech."""
USUAL: Final = 0.25
"""Share of the parts in which the packs differ by no more than the room makes them."""


def off_db(parts: Iterable[Part], offset_db: Levels) -> Levels:
    """How far each part lies from the learned offset, dB, shape (parts, bands)."""
    return np.array([part.offset_db for part in parts]).reshape(-1, BANDS) - offset_db


def sure_change_db(newest: Sequence[Part], among: Iterable[Part], offset_db: Levels) -> Levels:
    """Median change of the newest parts, dB, shape (bands,), less what a sound on one of the two
    packs may have added to the voice: more than the room always does to the parts `among`."""
    change_db = off_db(newest, offset_db)
    usual_db = np.quantile([part.doubt_db for part in among], USUAL)
    doubt_db = np.maximum([part.doubt_db for part in newest] - usual_db, 0.0)
    voice_db = change_db[:, 0]
    change_db[:, 0] = np.sign(voice_db) * np.maximum(np.abs(voice_db) - doubt_db, 0.0)
    return band_medians(change_db)


class Leaves(NamedTuple):
    """In which bands a pair is off for good, and whether it may be a look to one side yet."""

    bands: Flags
    waits: bool


def leaves(
    newest: list[Part], history: list[Part], offset_db: Levels, change_db: Levels, *, sure: bool
) -> Leaves:
    """Whether the newest parts are off for good.

    Parameters
    ----------
    newest, history : list of Part
        As much speech as is judged, and all that is known of before.
    offset_db, change_db : ndarray, shape (bands,)
        What was learned, and the sure change from it.
    sure : bool
        It is as much speech as the limit asks for, of a pair that was known before: then only what
        may be a head must last longer than a look.
    """
    off = np.abs(change_db) > MOST_DB
    off &= _turned(off_db(newest, offset_db), change_db)
    if not any_of(off):
        return Leaves(off, waits=False)
    before, since = split(newest, history, offset_db, change_db)
    usual = _without_shouts(before)
    off &= no_heads(_looks(usual, offset_db), _looks(since, offset_db), change_db)
    off[0] &= not np.sign(change_db[0]) * change_db[1] < LOST_TREBLE * abs(change_db[0])
    given = np.zeros(BANDS, dtype=np.bool_)
    if len(usual) >= BLOCK and any_of(off):
        off, given = _fallen(off, usual, since, change_db)
    if newest[-1].begin_s - since[0].begin_s < LOOK_S:
        given |= not (sure and len(before) >= KNOWN)
    elif any_of(given):
        given &= _rose(usual, since, change_db)
    return Leaves(off & ~given, waits=any_of(off) and not any_of(off & ~given))


def _rose(before: list[Part], since: list[Part], change_db: Levels) -> Flags:
    """In which bands the pack that did not fall rose by more than a voice's loudness varies."""
    other = (change_db < 0).astype(np.int64)
    both = [looks(_levels_db(parts, other), _begins_s(parts)) for parts in (before, since)]
    return rises(*both)


def _levels_db(parts: list[Part], pack: NDArray[np.int64]) -> Levels:
    """Of each band of each part as the pack of each band hears it, dB, shape (parts, bands)."""
    dull_db = np.array([np.vstack([[0.0, 0.0], part.dull_db]) for part in parts])
    level_db = np.array([part.level_db for part in parts])[:, np.newaxis] - dull_db
    return np.asarray(level_db[:, np.arange(BANDS), pack])


def _begins_s(parts: list[Part]) -> Levels:
    return np.array([part.begin_s for part in parts])


def _looks(parts: list[Part], offset_db: Levels) -> Levels:
    return looks(off_db(parts, offset_db), _begins_s(parts))


def _fallen(
    off: Flags, before: list[Part], since: list[Part], change_db: Levels
) -> tuple[Flags, Flags]:
    """In which of the bands that are off one pack fell, and in which the other rose by a share of
    that, as with a head that turned."""
    moved_db = usual(since) - usual(before)
    level_db, dull_db = moved_db[0], moved_db[1:]
    fell = (change_db > 0).astype(np.int64)
    size_db = np.abs(change_db)
    off[0] &= -level_db[fell[0]] > FAINTER * size_db[0]
    for band in range(1, BANDS):
        off[band] &= off[0] or dull_db[band - 1, fell[band]] > DULLER * size_db[band]
    by_band_db = np.vstack([level_db, level_db - dull_db])
    risen_db = by_band_db[np.arange(BANDS), 1 - fell]
    given = risen_db > SEESAW * size_db
    given[1:SIBILANTS] |= given[0] & off[0]
    # A head takes of sibilants twice what it gives to the other pack, and more.
    given[SIBILANTS] = risen_db[SIBILANTS] > 0.5 * SEESAW * size_db[SIBILANTS]
    return off, given


def _without_shouts(parts: list[Part]) -> list[Part]:
    """Those that were not much louder than usual on either pack; all where too few are left."""
    if not parts:
        return parts
    usual_db = usual(parts)[0]
    left = [part for part in parts if (part.level_db - usual_db).max() < SHOUT_DB]
    return left if len(left) >= BLOCK else parts


def split(
    newest: list[Part], history: list[Part], offset_db: Levels, change_db: Levels
) -> tuple[list[Part], list[Part]]:
    """All parts before the step that fits them best, and those since."""
    step = step_at(off_db(newest, offset_db), change_db)
    if step == 0:
        earlier = _changed_before(off_db(history, offset_db), change_db)
        at = len(history) - earlier
        if earlier and newest[-1].begin_s - history[at].begin_s >= LOOK_S:
            return history[:at], history[at:] + newest
    return history + newest[:step], newest[step:]


def _changed_before(parts_db: Levels, change_db: Levels) -> int:
    """How many of the last parts are changed already, up to a block that is not."""
    if not len(parts_db):
        return 0
    evidence = np.cumsum(_share(parts_db, change_db)[::-1] - 0.5)
    below = np.maximum.accumulate(np.maximum(evidence, 0.0)) - evidence
    ended = below > 0.5 * BLOCK * 0.5
    known = evidence[: int(ended.argmax())] if any_of(ended) else evidence
    return int(known.argmax()) + 1 if known.max(initial=0.0) > 0.0 else 0


def usual(parts: list[Part]) -> Levels:
    """Level and dullness of main and safety, dB, shape (bands, 2)."""
    level_db = np.array([part.level_db for part in parts])
    dull_db = np.array([part.dull_db for part in parts])
    return band_medians(np.concatenate([level_db[:, np.newaxis], dull_db], axis=1))


def _turned(parts_db: Levels, change_db: Levels) -> Flags:
    """In which bands most parts lie off, to the side of the change."""
    turned = np.sign(change_db) * parts_db > 2.0 / 3.0 * MOST_DB
    return np.asarray(turned.mean(axis=0) >= TURNED)


def step_at(parts_db: Levels, change_db: Levels) -> int:
    """Before which of the parts a step fits them best, in the band that is further off."""
    share = _share(parts_db, change_db)
    # Nearer to the offset before the step, nearer to the changed one after it.
    wrong_before = np.concatenate([[0.0], np.cumsum(share - 0.5)])
    return int(np.argmin(wrong_before[:-1]))


def _share(parts_db: Levels, change_db: Levels) -> Levels:
    """How far each part went from the learned offset to the changed one, 0 to 1, in the band that
    is further off."""
    band = int(np.nanargmax(np.abs(change_db) / MOST_DB))
    band_db = parts_db[:, band]
    band_db = np.where(np.isnan(band_db), 0.5 * change_db[band], band_db)
    # The median of all of them has only begun to change, that of the newest is changed.
    newest_db = float(percentiles.median(band_db[-math.ceil(len(band_db) / 4) :]))
    changed_db = max(float(change_db[band]), newest_db, key=abs)
    return np.asarray(np.clip(band_db / changed_db, 0.0, 1.0))


def newest_of(parts: Sequence[Part], needed: int) -> int:
    """How many parts are judged: as many as the limit asks for, or all that was said for longer
    than a look lasts, a block at least."""
    begins_s = parts[-1].begin_s - LOOK_S
    lately = sum(part.begin_s >= begins_s for part in islice(reversed(parts), needed))
    return min(max(lately, BLOCK), needed)

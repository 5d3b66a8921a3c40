"""What detectors learned is kept over a restart, whichever they are."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from engine.alarms.book_checkpoint import save as save_book
from engine.detectors.learned import Learner, Memory, keep, restore
from engine.detectors.registry import DETECTORS
from engine.model import dataclass_json
from engine.model.tracks import Scene
from engine.pipeline.pipeline import Pipeline
from engine.session.checkpoint import Checkpoint
from tests.engine.line_check.test_checker import PLAN, RATE, TRACKS

SCENE = Scene(PLAN.tracks, RATE)
LEARNERS = [kind for kind in DETECTORS.values() if isinstance(kind(SCENE), Learner)]


def drawn(before: Learner, seed: int) -> tuple[np.ndarray, ...]:
    """Something learned: the shapes as they are, every value another."""
    rng = np.random.default_rng(seed)
    shapes = [np.shape(getattr(before.learned, f.name)) for f in fields(before.learned)]
    return tuple(rng.uniform(-60.0, -20.0, shape) for shape in shapes)


def test_all_that_learn_are_known() -> None:
    """Floors apart, four faults are judged by what was learned before."""
    assert {d.__name__ for d in LEARNERS} == {"DeadMic", "Silent", "Hum", "PairDrift"}


@pytest.mark.parametrize("kind", LEARNERS)
def test_each_goes_through_the_log_and_back(kind: type) -> None:
    """What was kept, written as JSON and read again is what the next engine has learned."""
    before, after = kind(SCENE), kind(SCENE)
    before.learn(type(before.learned)(*drawn(before, 1)))
    if kind.__name__ == "PairDrift":
        before = kind(SCENE)
        before.teach(1, 12.0, 9.0)
    book = save_book(Pipeline(PLAN, RATE).book)
    kept = Checkpoint(1.0, 0.0, (-60.0,) * TRACKS, book, 0.0, "", 0, learned=keep([before]))
    kept = dataclass_json.loads(Checkpoint, dataclass_json.dumps(kept))
    pipeline = Pipeline(PLAN, RATE, checkpoint=kept)
    remembered = next(m for m in pipeline.learned if m.detector == kind.__name__)
    assert repr((remembered,)) == repr(keep([before]))  # NaN is not equal to itself
    restore([after], kept.learned)
    for field in fields(before.learned):
        wanted = getattr(before.learned, field.name)
        np.testing.assert_array_equal(getattr(after.learned, field.name), wanted)


def test_what_fits_no_more_is_left() -> None:
    """Memories of another number of tracks, or of a detector that is gone, change nothing."""
    detectors = [kind(SCENE) for kind in LEARNERS]
    before = keep(detectors)
    short = tuple(Memory(m.detector, tuple(((1.0,),) for _ in m.fields)) for m in before)
    restore(detectors, (*short, Memory("Gone", ())))
    assert repr(keep(detectors)) == repr(before)

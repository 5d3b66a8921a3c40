"""What the watch sets down by itself. Common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.measure.disturbances import Disturbance, Disturbing
from engine.model.commands import Mark
from engine.model.messages import Block, Fault, Incident, Severity
from engine.model.tracks import Plan, Track
from engine.pipeline.own_marks import OwnMark, disturbance_marks, gain_marks, without_pops
from engine.pipeline.pipeline import Pipeline
from tests.support import harmless_sound as sound
from tests.support.feeding import tick

PLAN = Plan((Track(1, "Boom"), Track(2, "Crowd")))


def test_a_gain_step_is_one_mark() -> None:
    """The mark names track and step, and nothing is said where no gain was turned."""
    quiet = tick(7)
    assert gain_marks(quiet, PLAN) == []
    stepped = replace(quiet, gain_step_db=np.array([-9.8, 0.0]))
    (own,) = gain_marks(stepped, PLAN)
    assert own.mark == Mark("gain \u221210 dB: 1 Boom", quiet.end_s)
    assert (own.what, own.track, own.level_dbfs) == ("gain", 1, None)


def test_wind_is_told_with_its_span_and_its_level() -> None:
    """From when to when, how loud, on which track, in one line."""
    wind = Disturbance(Disturbing.WIND, 1, 3.0, 65.5, -12.4)
    (own,) = disturbance_marks([wind], PLAN, lambda at_s: f"21:14:{int(at_s) % 60:02d}:00")
    text = "wind, 21:14:03 to 21:14:05, \u221212 dBFS: 2 Crowd"
    assert own == OwnMark("wind", 2, 3.0, 65.5, -12.4, text)
    assert own.mark == Mark(text, 3.0)


@pytest.mark.parametrize(
    ("fault", "track", "onset_s", "end_s", "stays"),
    [
        (Fault.CRACKLE, 1, 19.0, 25.0, False),
        (Fault.CRACKLE, 1, 22.0, None, False),
        (Fault.CRACKLE, 1, 2.0, 19.9, True),
        (Fault.CRACKLE, 2, 19.0, 25.0, True),
        (Fault.DROPOUT, 1, 19.0, 25.0, True),
    ],
)
def test_pops_of_a_contact_are_no_blows(
    fault: Fault, track: int, onset_s: float, end_s: float | None, stays: bool
) -> None:
    """What is told as crackle on that track in that time is not set down as hits too."""
    hits = OwnMark("hits", 1, 20.0, 24.0, -9.0, "")
    wind = OwnMark("wind", 1, 20.0, 24.0, -9.0, "")
    told = Incident(1, track, fault, Severity.AMBER, onset_s, end_s=end_s)
    left = without_pops([hits, wind], lambda: [told])
    assert left == ([hits, wind] if stays else [wind])


def test_it_stands_in_the_history_and_waits_for_the_log() -> None:
    """A gain turned by 12 dB alarms nobody, is a mark among the crew's, and is logged once."""
    rng = np.random.default_rng(5)
    boom = sound.room(34.0, -55.0, rng) + sound.voice(34.0, -30.0, rng, talks=0.3)
    columns = [sound.amplified(boom, -12.0, 20.0), sound.room(34.0, -50.0, rng, 1500.0)]
    pipeline = Pipeline(PLAN, sound.RATE)
    pipeline.feed(Block(sound.takes(columns)))
    (mark,) = pipeline.desk.marks
    assert mark.text.startswith("gain \u2212")
    assert 20.0 < mark.at_s < 30.0
    assert [one.text for one in pipeline.take_marks()] == [mark.text]
    assert pipeline.take_marks() == []
    assert pipeline.book.incidents() == ()

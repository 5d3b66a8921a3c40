"""The scoring of a run against cases worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from tests.support.scoring import Truth, false_per_hour, found_by_strength, score_scene, table

MUTED = Truth("muted", (3,), ("muted",), 10.0, 20.0, 0.5, 0.5, 2.0)


def incident(**changes: Any) -> dict[str, Any]:
    """A muted incident that keeps every deadline."""
    kept = {
        "track": 3,
        "fault": "muted",
        "severity": "red",
        "onset_s": 10.02,
        "amber_s": 10.5,
        "red_s": 12.0,
        "end_s": 20.0,
    }
    return kept | changes


def test_found_in_time() -> None:
    """A right alarm in time scores its own delays, and spoils only the time round its fault."""
    score = score_scene([incident()], [MUTED], [3, 4], 100.0)
    (line,) = table([score])
    assert (line.events, line.found, line.named) == (1, 1.0, 1.0)
    assert line.amber_median_s == pytest.approx(0.5)
    assert line.red_worst_s == pytest.approx(2.0)
    assert (line.amber_kept, line.red_kept) == (1.0, 1.0)
    assert line.onset_error_worst_s == pytest.approx(0.02)
    assert score.false == ()
    assert score.healthy_s == pytest.approx(100.0 + 100.0 - (10.0 + 2.0 + 5.0))


@pytest.mark.parametrize(("onset_s", "error_s"), [(9.0, -1.0), (12.0, 0.0), (16.5, 1.5)])
def test_onset_that_nobody_could_hear(onset_s: float, error_s: float) -> None:
    """A slipped mic shows in the first word after: any time until then is right."""
    truth = replace(MUTED, audible_s=15.0)
    score = score_scene([incident(onset_s=onset_s)], [truth], [3], 60.0)
    assert score.outcomes[0].onset_error_s == pytest.approx(error_s)


def test_missed() -> None:
    """Nothing said: not found, deadlines broken, delays undefined."""
    (line,) = table([score_scene([], [MUTED], [3], 100.0)])
    assert (line.found, line.amber_kept, line.red_kept) == (0.0, 0.0, 0.0)
    assert math.isnan(line.named)
    assert math.isnan(line.amber_median_s)


@pytest.mark.parametrize(
    ("amber_s", "red_s", "kept"),
    [(10.99, 12.49, (1.0, 1.0)), (11.01, 12.51, (0.0, 0.0)), (11.01, None, (0.0, 0.0))],
)
def test_grace(amber_s: float, red_s: float | None, kept: tuple[float, float]) -> None:
    """Deadlines have half a second of grace and not more."""
    (line,) = table([score_scene([incident(amber_s=amber_s, red_s=red_s)], [MUTED], [3], 60.0)])
    assert (line.amber_kept, line.red_kept) == kept


def test_wrong_name() -> None:
    """Another name of the family finds the fault without naming it, and is no false alarm."""
    score = score_scene([incident(fault="silent")], [MUTED], [3], 100.0)
    (line,) = table([score])
    assert (line.found, line.named, line.beside) == (1.0, 0.0, 0.0)
    assert score.false == ()


def test_wrong_family() -> None:
    """A fault of another family does not find it; it is told apart from what was planted there."""
    score = score_scene([incident(fault="hum")], [MUTED], [3], 100.0)
    (line,) = table([score])
    assert (line.found, line.amber_kept, line.beside) == (0.0, 0.0, 1.0)
    assert score.false == ()
    hum = replace(MUTED, label="hum", names=("hum",))
    lines = table([score_scene([incident(), incident(fault="hum")], [MUTED, hum], [3], 100.0)])
    assert [(line.found, line.named, line.beside) for line in lines] == [(1.0, 1.0, 0.0)] * 2


@pytest.mark.parametrize(
    "changes",
    [{"track": 4}, {"onset_s": 7.9}, {"onset_s": 25.1}],
)
def test_false_alarm(changes: dict[str, Any]) -> None:
    """Another track, too early, too late: false, and the fault missed."""
    score = score_scene([incident(**changes)], [MUTED], [3, 4], 1800.0)
    assert len(score.false) == 1
    assert not score.outcomes[0].found
    assert false_per_hour([score], "red") == pytest.approx(3600.0 / (3600.0 - 17.0))
    assert false_per_hour([score], "amber") == 0.0


def test_no_healthy_time() -> None:
    """Without healthy time the rate of false alarms is undefined."""
    truth = replace(MUTED, onset_s=0.0, end_s=60.0)
    assert math.isnan(false_per_hour([score_scene([], [truth], [3], 60.0)], "red"))


def test_overlapping_truths_counted_once() -> None:
    """Two faults of one track at a time spoil that time once."""
    other = replace(MUTED, onset_s=15.0, end_s=30.0)
    assert score_scene([], [MUTED, other], [3], 100.0).healthy_s == pytest.approx(100.0 - 27.0)


def test_nothing_due() -> None:
    """A fault that deserves no alarm is no event, and an alarm on it is not false."""
    short = replace(MUTED, amber_within_s=None)
    score = score_scene([incident()], [short], [3], 100.0)
    assert score.outcomes == ()
    assert score.false == ()


def test_receiver() -> None:
    """Only an incident that gathers all its tracks finds the loss of a receiver."""
    whole = replace(MUTED, label="receiver", tracks=(3, 4), whole=True)
    single = score_scene([incident()], [whole], [3, 4], 60.0)
    assert not single.outcomes[0].found
    gathered = incident(track=None, tracks=[3, 4])
    assert score_scene([gathered], [whole], [3, 4], 60.0).outcomes[0].found
    part = incident(track=None, tracks=[3])
    assert not score_scene([part], [whole], [3, 4], 60.0).outcomes[0].found


def test_gathering_finds_no_single_track() -> None:
    """The incident of a whole receiver does not stand for a track's own one."""
    gathered = incident(track=None, tracks=[3, 4])
    assert not score_scene([gathered], [MUTED], [3, 4], 60.0).outcomes[0].found


def test_strength_curve() -> None:
    """Bins are closed below and open above, but for the last; an empty one is undefined."""
    truths = [
        replace(MUTED, strength=s, onset_s=100.0 * n, end_s=100.0 * n + 10.0)
        for n, s in enumerate((0.0, 0.5, 1.0))
    ]
    score = score_scene([incident(onset_s=100.0, amber_s=100.5)], truths, [3], 1000.0)
    curve = found_by_strength(score.outcomes, (0.0, 0.25, 0.5, 1.0))
    assert curve[0] == (0.0, 0.0, 1)
    assert curve[2] == (0.75, 0.5, 2)
    assert math.isnan(curve[1][1])

"""One source from samples to alarms: lost and bad samples, stalls, plans, commands."""

from __future__ import annotations

import time

import numpy as np
import pytest

from engine.model.commands import (
    Acknowledge,
    AcknowledgeAll,
    OutOfService,
    Shelve,
    Standby,
    Unshelve,
)
from engine.model.messages import (
    AlarmState,
    Block,
    Fault,
    Incident,
    Samples,
    Severity,
)
from engine.model.tracks import Plan, Track, plan_for
from engine.model.units import FLOOR_DB
from engine.pipeline.framing import LONGEST_GAP_S
from engine.pipeline.pipeline import Pipeline
from tests.support.signals import noise
from tests.support.whole_watch import watched, whole

RATE = 8_000


# ---- lost and bad samples ------------------------------------------------------------------------


def only(pipeline: Pipeline, fault: Fault) -> Incident:
    """The one incident of that fault."""
    (found,) = [i for i in pipeline.incidents() if i.fault is fault]
    return found


def room(seconds: float, tracks: int = 2, rate_hz: int = RATE) -> Samples:
    """Healthy room noise."""
    return noise(-50.0, seconds, rate_hz, seed=5, tracks=tracks)


def test_lost_frames_are_no_silence() -> None:
    """A gap of a second is lost samples on the whole input, and neither muted nor silent."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    pipeline.feed(Block(room(5.03)))
    pipeline.feed(Block(room(5.0), lost_frames=RATE))
    found = only(pipeline, Fault.SAMPLES_LOST)
    assert pipeline.incidents() == (found,)
    assert found.track is None
    assert found.tracks == (1, 2)
    assert found.onset_s == pytest.approx(5.03, abs=0.011)
    assert found.end_s == pytest.approx(6.03, abs=0.011)
    assert found.severity is Severity.AMBER, "red only above 1 s in a minute (CONTRACT.md)"
    assert pipeline.audio_lost_s == pytest.approx(1.0)
    assert pipeline.fed_s == pytest.approx(11.03)


def test_more_than_a_second_lost_in_a_minute_is_red() -> None:
    """Two losses of 0.6 s within a minute are red (CONTRACT.md)."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    for _ in range(2):
        pipeline.feed(Block(room(5.0), lost_frames=round(0.6 * RATE)))
    assert [i.severity for i in pipeline.incidents()] == [Severity.AMBER, Severity.RED]


def test_lost_frames_at_the_end_are_not_measured() -> None:
    """Frames lost in the last, incomplete tick do not count as digital zero."""
    plan = plan_for(["", ""])
    clean = watched(Pipeline(plan, RATE), [Block(room(1.0))])[1]
    gap = Block(np.zeros((0, 2), dtype=np.float32), lost_frames=RATE // 20)
    cut = watched(Pipeline(plan, RATE), [Block(room(1.0)), gap])[1]
    assert np.array_equal(clean.rms_dbfs, cut.rms_dbfs)


def test_a_gap_of_ten_minutes_is_cheap_and_keeps_the_time() -> None:
    """A long gap takes no time to go through, begins where it began, and is told in full."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    pipeline.feed(Block(room(3.03)))
    begun = time.process_time()
    pipeline.feed(Block(room(0.0), lost_frames=600 * RATE))
    pipeline.feed(Block(room(5.0)))
    assert time.process_time() - begun < 600 / 200, "less than a two-hundredth of the gap"
    assert pipeline.fed_s == pytest.approx(608.03)
    assert pipeline.audio_lost_s == pytest.approx(600.0)
    found = only(pipeline, Fault.SAMPLES_LOST)
    assert found.onset_s == pytest.approx(3.03, abs=0.011)
    assert found.end_s == pytest.approx(603.03, abs=0.11)
    assert found.red_s is not None
    assert found.red_s < 3.1 + LONGEST_GAP_S
    assert found.detail.startswith("60.00 s of audio lost in the last minute")


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, np.float32(1e30)])
def test_what_is_no_number_is_said_and_poisons_nothing(bad: float) -> None:
    """Samples that are no numbers are a fault of their track; all measures go on."""
    samples = room(12.0)
    samples[RATE * 3 : RATE * 3 + 9, 1] = bad
    incidents, totals = whole(samples, RATE, plan_for(["", ""]))
    (found,) = incidents
    assert (found.track, found.fault, found.severity) == (2, Fault.SAMPLES_LOST, Severity.AMBER)
    assert found.onset_s == pytest.approx(3.0, abs=0.011)
    clean = whole(room(12.0), RATE, plan_for(["", ""]))[1]
    for name in ("rms_dbfs", "integrated_lufs", "true_peak_max_dbtp", "noise_floor_dbfs"):
        there, before = getattr(totals, name), getattr(clean, name)
        assert there[1] == pytest.approx(before[1], abs=0.2)
        assert there[0] == before[0], "the neighbour is not touched"


def test_a_track_of_no_numbers_is_red_and_nothing_else() -> None:
    """A track that delivers only NaN is lost, in red; it is not said to be silent or muted."""
    samples = room(12.0)
    samples[:, 1] = np.nan
    incidents, totals = whole(samples, RATE, plan_for(["", ""]))
    (found,) = incidents
    assert (found.track, found.fault, found.severity) == (2, Fault.SAMPLES_LOST, Severity.RED)
    assert found.end_s is None
    assert np.isnan(totals.rms_dbfs[1])


def test_denormals_are_muted() -> None:
    """A track of denormal numbers is an idle one."""
    samples = room(5.0)
    samples[RATE * 2 :, 0] = 1e-41
    incidents, _ = whole(samples, RATE, plan_for(["", ""]))
    assert [(i.track, i.fault) for i in incidents] == [(1, Fault.MUTED)]


# ---- a stalled input -----------------------------------------------------------------------------


def stall(pipeline: Pipeline, begin_s: float, end_s: float) -> None:
    """The runner says ten times a second that nothing came."""
    for now_s in np.arange(begin_s, end_s, 0.1):
        pipeline.stalled(float(now_s), "tower interface delivers nothing: its cable")


def test_a_stalled_input_is_lost_from_the_last_audio_on() -> None:
    """A lost input is red at once on all tracks, from the last audio to the next."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    pipeline.feed(Block(room(5.0)))
    stall(pipeline, 5.7, 9.0)
    lost = only(pipeline, Fault.INPUT_LOST)
    assert (lost.track, lost.tracks, lost.end_s) == (None, (1, 2), None)
    assert lost.onset_s == pytest.approx(5.0)
    assert lost.amber_s == lost.red_s == pytest.approx(5.7)
    assert "cable" in lost.detail
    pipeline.feed(Block(room(5.0), lost_frames=4 * RATE))
    lost = only(pipeline, Fault.INPUT_LOST)
    assert lost.end_s == pytest.approx(9.0, abs=0.11)
    assert pipeline.incidents() == (lost,), "one loss, one incident"
    assert pipeline.audio_lost_s == pytest.approx(4.0)
    assert pipeline.fed_s == pytest.approx(14.0)


def test_stream_time_never_falls_back_behind_a_stall() -> None:
    """A source that does not say how much was lost leaves no time told twice."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    pipeline.feed(Block(room(5.0)))
    stall(pipeline, 5.7, 65.0)
    events = pipeline.feed(Block(room(5.0)))
    assert all(event.at_s >= 64.9 for event in events)
    assert pipeline.fed_s == pytest.approx(70.0, abs=0.2)
    assert only(pipeline, Fault.INPUT_LOST).end_s == pytest.approx(65.0, abs=0.2)


def test_an_overflow_after_a_stall_is_told_again() -> None:
    """Audio lost later on counts as lost samples, the stall does not."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    pipeline.feed(Block(room(5.0)))
    stall(pipeline, 5.7, 9.0)
    pipeline.feed(Block(room(5.0), lost_frames=4 * RATE))
    pipeline.feed(Block(room(5.0), lost_frames=RATE // 10))
    assert only(pipeline, Fault.SAMPLES_LOST).severity is Severity.AMBER


def test_a_stall_shows_no_level() -> None:
    """While nothing comes the meters show nothing, not the last thing they heard."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    pipeline.feed(Block(room(5.0)))
    assert (pipeline.snapshot(5.0).peak_dbfs > -60.0).all()
    stall(pipeline, 5.7, 6.0)
    shown = pipeline.snapshot(6.0)
    assert (shown.peak_dbfs == FLOOR_DB).all()
    assert (shown.momentary_lufs == FLOOR_DB).all()
    assert not shown.present.any()
    assert (shown.ribbon.severity[-1] == Severity.RED).all()


# ---- plans ---------------------------------------------------------------------------------------


def test_a_plan_may_use_some_channels_in_any_order() -> None:
    """A track is read from its own input, whatever the plan's order and the other channels."""
    samples = room(12.0, tracks=6)
    samples[RATE * 2 : RATE * 4, 4] = 0.0
    plan = Plan((Track(5), Track(2)))
    incidents, totals = whole(samples, RATE, plan)
    assert [(i.track, i.fault) for i in incidents] == [(5, Fault.MUTED)]
    straight = whole(samples, RATE, plan_for([""] * 6))[1]
    assert totals.rms_dbfs.tolist() == straight.rms_dbfs[[4, 1]].tolist()


def test_sixty_four_tracks() -> None:
    """64 tracks are watched at once, each for itself."""
    samples = room(4.0, tracks=64)
    samples[RATE * 2 :, 40] = 0.0
    incidents, totals = whole(samples, RATE, plan_for([""] * 64))
    assert [(i.track, i.fault) for i in incidents] == [(41, Fault.MUTED)]
    assert totals.rms_dbfs.shape == (64,)


# ---- the crew, the snapshot ----------------------------------------------------------------------


def test_the_crews_commands_reach_the_alarms() -> None:
    """Each command does what it says and shows in the next snapshot."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    samples = room(4.0)
    samples[RATE * 2 :, 0] = 0.0
    pipeline.feed(Block(samples))
    (alarm,) = pipeline.snapshot(4.0).alarms
    number = alarm.incident.id

    def state_after(command: object) -> AlarmState:
        pipeline.command(command, 4.0)  # type: ignore[arg-type]
        return pipeline.snapshot(4.0).alarms[0].state

    assert state_after(Acknowledge(number)) is AlarmState.ACKNOWLEDGED
    assert state_after(Shelve(number, None)) is AlarmState.SHELVED
    assert state_after(Unshelve(number)) is AlarmState.UNACKNOWLEDGED
    assert state_after(AcknowledgeAll()) is AlarmState.ACKNOWLEDGED
    assert state_after(OutOfService(1, True)) is AlarmState.OUT_OF_SERVICE
    assert pipeline.snapshot(4.0).out_of_service == (1,)
    assert state_after(OutOfService(1, False)) is AlarmState.UNACKNOWLEDGED
    pipeline.command(Standby(True), 4.0)
    assert pipeline.snapshot(4.0).standby
    assert pipeline.snapshot(4.0).alarms[0].state is AlarmState.UNACKNOWLEDGED


def test_a_shelving_ends_while_the_watch_goes_on() -> None:
    """The end of a shelving needs nobody to press anything."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    samples = room(20.0)
    samples[RATE * 2 :, 0] = 0.0
    pipeline.feed(Block(samples[: RATE * 4]))
    pipeline.command(Shelve(pipeline.incidents()[0].id, 3.0), 4.0)
    pipeline.feed(Block(samples[RATE * 4 : round(RATE * 6.9)]))
    assert pipeline.snapshot(6.9).alarms[0].state is AlarmState.SHELVED
    pipeline.feed(Block(samples[round(RATE * 6.9) : round(RATE * 7.1)]))
    assert pipeline.snapshot(7.1).alarms[0].state is AlarmState.UNACKNOWLEDGED


def test_peaks_are_held_for_two_seconds() -> None:
    """The peak hold shows the highest peak of the last two seconds, and no older one."""
    pipeline = Pipeline(plan_for(["", ""]), RATE)
    samples = room(5.0)
    samples[RATE - 1, 0] = 0.5
    pipeline.feed(Block(samples[: RATE * 2 + RATE * 9 // 10]))
    assert pipeline.snapshot(2.9).peak_hold_dbfs[0] == pytest.approx(-6.02, abs=0.01)
    pipeline.feed(Block(samples[RATE * 2 + RATE * 9 // 10 : RATE * 3]))
    assert pipeline.snapshot(3.0).peak_hold_dbfs[0] < -30.0


def test_a_snapshot_before_any_audio() -> None:
    """A watch that has heard nothing yet can be drawn."""
    shown = Pipeline(Plan((Track(1, who="foreman"),)), RATE).snapshot(0.0)
    assert (shown.peak_dbfs == FLOOR_DB).all()
    assert shown.alarms == ()
    assert [cover.who for cover in shown.covers] == ["foreman"]


def test_without_a_board_it_finds_the_same() -> None:
    """What a window draws is left out, as in a scan, and nothing else."""
    x = np.concatenate([room(5.0), np.zeros((5 * RATE, 2), np.float32)])
    drawn, bare = (Pipeline(plan_for(["", ""]), RATE, board=board) for board in (True, False))
    for pipeline in (drawn, bare):
        pipeline.feed(Block(x))
    assert bare.incidents() == drawn.incidents()
    assert bare.incidents()
    ribbon = bare.snapshot(bare.now_s).ribbon
    assert not ribbon.severity.any()
    assert drawn.snapshot(drawn.now_s).ribbon.severity.any()

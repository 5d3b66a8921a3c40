"""What the rows and group headings say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.models import board_rows
from app.style.state_marks import Mark
from engine.alarms.alarm import UNHEARD
from engine.model.messages import Alarm, AlarmState, Fault, Kind, Severity
from engine.model.tracks import Plan, Track
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()


def states() -> dict[int, board_rows.RowState]:
    """State of every track of the night at the tower, by input number."""
    found = board_rows.row_states(PLAN, fake_client.snapshot(PLAN, fake_client.tower_alarms()))
    return {t.input: s for t, s in zip(PLAN.tracks, found, strict=True)}


def test_each_state_has_shape_word_and_time() -> None:
    """Red is an octagon, amber a triangle, healthy a ring, back a hollow triangle."""
    found = states()
    assert found[7] == board_rows.RowState(Mark.RED, "silent", "0:24", Severity.RED, unseen=True)
    assert found[9] == board_rows.RowState(Mark.RED, "muted", "1:10 · seen", Severity.RED)
    assert found[3] == board_rows.RowState(
        Mark.AMBER, "clipping", "0:06 · backup 4", Severity.AMBER, unseen=True
    )
    assert found[5] == board_rows.RowState(Mark.RETURNED, "live", "was silent")
    assert found[1] == board_rows.RowState(Mark.OK, "live")
    assert found[13] == board_rows.RowState(Mark.OK, "quiet", "as expected")


def state_of(*alarms: Alarm, out: bool = False) -> board_rows.RowState:
    """State of track 1 with those alarms."""
    return board_rows.row_state(PLAN.tracks[0], alarms, True, fake_client.NOW_S, out)


def test_put_aside_states_have_their_own_marks() -> None:
    """Shelved, suppressed and out of service are neither healthy nor coloured."""
    amber = Alarm(
        fake_client.incident(1, 1, Fault.SILENT, Severity.AMBER, 30),
        AlarmState.SHELVED,
        until_s=fake_client.NOW_S + 200,
    )
    assert state_of(amber) == board_rows.RowState(Mark.SHELVED, "silent", "shelved · 3:20")
    asleep = replace(amber, state=AlarmState.SUPPRESSED)
    assert state_of(asleep) == board_rows.RowState(Mark.SUPPRESSED, "silent", "0:30 · suppressed")
    out = board_rows.RowState(Mark.OUT_OF_SERVICE, "out of service", "O puts it back")
    assert state_of(replace(amber, state=AlarmState.OUT_OF_SERVICE)) == out
    assert state_of(out=True) == out


def test_a_track_under_its_receivers_alarm_keeps_its_colour() -> None:
    """Suppressed by the receiver's alarm, a track still shows that it is red."""
    one = fake_client.incident(1, 1, Fault.MUTED, Severity.RED, 30, part_of="Receiver A")
    found = state_of(Alarm(one, AlarmState.SUPPRESSED))
    assert (found.mark, found.severity) == (Mark.RED, Severity.RED)


def test_the_worst_fault_of_a_track_is_told() -> None:
    """Of two faults on one track the red one stands in its row."""
    amber = Alarm(
        fake_client.incident(1, 1, Fault.CLIPPED, Severity.AMBER, 90), AlarmState.UNACKNOWLEDGED
    )
    red = Alarm(fake_client.incident(2, 1, Fault.MUTED, Severity.RED, 5), AlarmState.ACKNOWLEDGED)
    assert state_of(amber, red).word == "muted"


def test_groups_gather_by_who() -> None:
    """Packs of one who stand together, even when their inputs do not; others go by kind."""
    plan = Plan(
        (
            Track(1, who="Foreman"),
            Track(2, kind=Kind.BOOM),
            Track(3, who="Foreman"),
            Track(4, kind=Kind.UNUSED),
        )
    )
    assert board_rows.folded(plan, {}) == (4,)
    assert board_rows.groups(plan, (4,)) == (
        board_rows.Group("Foreman", (0, 2)),
        board_rows.Group("Booms", (1,)),
    )


def test_an_unused_track_with_a_signal_unfolds() -> None:
    """A fault on a folded track brings its row back."""
    plan = Plan((Track(1), Track(2, kind=Kind.UNUSED)))
    one = fake_client.incident(1, 2, Fault.UNEXPECTED, Severity.AMBER, 9)
    alarms = board_rows.by_track([Alarm(one, AlarmState.UNACKNOWLEDGED)])
    assert board_rows.folded(plan, alarms) == ()


def test_headings_tell_cover() -> None:
    """Under a group: uncovered where all packs are in fault, else the pack that covers."""
    found = board_rows.group_states(PLAN, fake_client.snapshot(PLAN, fake_client.tower_alarms()))
    assert found["Foreman"].uncovered
    assert found["Rigger"] == board_rows.GroupState(covered_by=4)
    assert "Mason" not in found


def test_every_track_has_a_state_without_any_sound() -> None:
    """Before any level is known the rows still say something."""
    empty = fake_client.snapshot(
        PLAN, momentary_lufs=np.full(14, np.nan), present=np.zeros(14, bool)
    )
    assert all(state.word for state in board_rows.row_states(PLAN, empty))


def test_a_row_on_which_nothing_came_yet_is_no_alarm() -> None:
    """The one line speaks of it; a fault of its own, later, shows as ever."""
    made = replace(fake_client.incident(1, 1, Fault.NOTHING_YET, Severity.AMBER, 30), track=None)
    line = Alarm(replace(made, tracks=(1, 2)), AlarmState.UNACKNOWLEDGED)
    part = replace(fake_client.incident(2, 1, Fault.MUTED, Severity.AMBER, 30), part_of=UNHEARD)
    suppressed = Alarm(part, AlarmState.SUPPRESSED)
    assert state_of(line, suppressed) == board_rows.RowState(Mark.OK, "nothing yet")
    hum = Alarm(fake_client.incident(3, 1, Fault.HUM, Severity.RED, 5), AlarmState.UNACKNOWLEDGED)
    assert state_of(line, suppressed, hum).severity is Severity.RED

"""A plan changed by command: the runner tells windows, the log and the headphones of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from engine.detectors.bank import DetectorBank
from engine.model.client_id import ClientId
from engine.model.commands import ChangePlan, Command, Open, Stop, SwapInputs, Watch
from engine.model.snapshot import LogState, Snapshot
from engine.pipeline.pipeline import Pipeline
from engine.plan.load import parse_plan
from engine.report.content.from_session import read_session
from engine.runtime.host import Host
from engine.runtime.runner import Asked, Runner
from engine.session.folders import LOG
from engine.session.writer import LogLine, SessionWriter, Stamp
from engine.sources.synthetic import ArraySource
from tests.support.signals import noise

RATE = 48_000
SOUND = noise(-50.0, 2.0, RATE, tracks=2)
TEXT = '[[track]]\ninput = 2\nname = "Boom"  # by the slip\n\n[[track]]\ninput = 1\nname = "Lav"\n'


class Notes:
    """A log that keeps its lines."""

    def __init__(self) -> None:
        self.lines: list[LogLine] = []

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        """Keep them."""
        self.lines += lines

    def state(self) -> LogState:
        """All is well."""
        return LogState(0.0)

    def close(self) -> None:
        """Nothing to let go of."""


def run(*commands: Command) -> tuple[list[Watch], list[Snapshot], Notes, Runner]:
    """A watch of two seconds of the place, with those commands given before its begin."""
    told: list[Watch] = []
    shots: list[Snapshot] = []
    log = Notes()
    world = Host(open_source=lambda _request: ArraySource(SOUND, RATE))
    runner = Runner(Open(take="x"), shots.append, world, log=log, on_plan=told.append)
    who = ClientId("mixer", "window", 1)
    for command in commands:
        runner.commands.put(Asked(command, who))
    while not runner.input.ended:
        assert runner._obey()
        runner._turn()
    runner.commands.put(Asked(Stop(), who))
    runner.run()
    shots.append(runner.snapshot())
    return told, shots, log, runner


def test_a_changed_plan_is_told_to_all() -> None:
    """Windows get the new plan and its text, the log its tracks; all audio was heard."""
    told, shots, log, runner = run(ChangePlan(TEXT))
    assert [t.label for t in told[0].plan.tracks] == ["Lav", "Boom"]
    assert told[0].plan_text == TEXT
    names = [line.values[2] for line in log.lines if line.kind == "track"]
    assert names[-2:] == ["Lav", "Boom"]
    assert ("", TEXT) in [line.values for line in log.lines if line.kind == "plan"]
    assert runner.pipeline.fed_s == 2.0
    assert shots[-1].audio_lost_s == 0.0


def test_a_swap_goes_on_from_the_text_as_it_is() -> None:
    """Two swaps of one pair give the text back, comments and all."""
    told, _, _, _ = run(ChangePlan(TEXT), SwapInputs(1, 2), SwapInputs(1, 2))
    assert [t.label for t in told[1].plan.tracks] == ["Boom", "Lav"]
    assert "# by the slip" in told[1].plan_text
    assert told[2].plan_text == TEXT


def test_a_swap_works_however_the_plan_lists_its_tracks() -> None:
    """TOML allows the tracks in one list; a swap then must not end the watch."""
    text = 'track = [{input = 2, name = "Boom"}, {input = 1, name = "Lav"}]\n'
    told, shots, _, runner = run(ChangePlan(text), SwapInputs(1, 2))
    assert [t.label for t in told[1].plan.tracks] == ["Boom", "Lav"]
    assert runner.pipeline.fed_s == 2.0
    assert shots[-1].audio_lost_s == 0.0


def test_a_plan_with_a_mistake_changes_nothing() -> None:
    """What is wrong is said in one line, and the watch goes on by the plan it had."""
    told, shots, _, runner = run(ChangePlan('[[track]]\ninput = 1\nkind = "lavv"\n'))
    assert told == []
    assert shots[-1].notice.startswith("plan not changed: line 3")
    assert len(runner.watch.plan.tracks) == 2


LAV = '[[track]]\ninput = 1\nname = "Lav"\n'


def test_inputs_join_and_leave_the_watch() -> None:
    """Told to windows with the snapshots that go with it, and to the log; all audio was heard."""
    told, shots, log, runner = run(ChangePlan(LAV), ChangePlan(TEXT))
    assert [[t.input for t in watch.plan.tracks] for watch in told] == [[1], [1, 2]]
    assert [line.values for line in log.lines if line.kind == "inputs"] == [
        (0, "[1, 2]"),
        (0, "[1]"),
        (0, "[1, 2]"),
    ]
    assert shots[-1].inputs == (1, 2)
    assert len(shots[-1].peak_dbfs) == 2
    assert runner.pipeline.fed_s == 2.0
    assert shots[-1].audio_lost_s == 0.0


def test_an_input_that_the_source_lacks_is_refused() -> None:
    """One line that names it; the watch goes on by the plan it had."""
    told, shots, _, runner = run(ChangePlan(TEXT + "\n[[track]]\ninput = 3\n"))
    assert told == []
    assert shots[-1].notice.startswith("plan not changed: line 10")
    assert "allowed: 1 to 2" in shots[-1].notice
    assert len(runner.watch.plan.tracks) == 2


def test_what_was_kept_fits_a_plan_changed_as_the_engine_broke_off() -> None:
    """Floors and alarms of the inputs that stay are taken over, whatever the order on the disk."""
    _, _, _, runner = run()
    kept = replace(runner.log.checkpoint(), floor_dbfs=(-50.0, -60.0))
    assert kept.of((2, 5)).floor_dbfs[0] == -60.0
    assert np.isnan(kept.of((2, 5)).floor_dbfs[1])
    pipeline = Pipeline(parse_plan(LAV, 2), RATE, checkpoint=kept)
    assert pipeline.meter.learned().floor_dbfs.tolist() == [-50.0]


def test_a_report_has_figures_of_inputs_that_left_or_came_back(tmp_path: Path) -> None:
    """Each by the time it was watched: RMS of the noise put in, and whole loudness figures."""
    log = SessionWriter(tmp_path / LOG)
    world = Host(open_source=lambda _request: ArraySource(noise(-50.0, 6.0, RATE, tracks=2), RATE))
    runner = Runner(Open(take="x"), lambda _shot: None, world, log=log)
    steps = [(2.03, LAV), (3.55, TEXT), (4.99, LAV)]
    while not runner.input.ended:
        if steps and runner.pipeline.fed_s >= steps[0][0]:
            asked = ChangePlan(steps.pop(0)[1])
            runner.commands.put(Asked(asked, ClientId("mixer", "window", 1)))
        assert runner._obey()
        runner._turn()
    runner.commands.put(Asked(Stop(), ClientId("mixer", "window", 1)))
    runner.run()
    log.close()
    section = read_session(tmp_path).section
    for figures in section.tracks:
        assert figures.rms_dbfs == pytest.approx(-50.0, abs=0.1)
        assert figures.integrated_lufs is not None
        assert figures.integrated_lufs == pytest.approx(section.tracks[0].integrated_lufs, abs=0.2)
    assert section.tracks_note == ""
    assert sum(line.startswith("Input") for line in section.honest) == 3
    peaks = section.history.sample_peak_dbfs
    assert np.isfinite(peaks[:, 0]).all()
    assert np.isnan(peaks[:, 1]).tolist() == [False, False, True, False, True, True]


@pytest.mark.parametrize("error", [MemoryError, ZeroDivisionError("no frames"), OverflowError])
def test_a_plan_that_breaks_the_change_is_refused_and_breaks_nothing(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception] | Exception
) -> None:
    """Whatever goes wrong halfway, the watch goes on whole by the plan it had."""
    change = DetectorBank.change

    def halfway(bank: DetectorBank, *more: object) -> None:
        change(bank, *more)
        raise error

    monkeypatch.setattr(DetectorBank, "change", halfway)
    told, shots, _, runner = run(ChangePlan(LAV))
    assert told == []
    assert shots[-1].notice.startswith("plan not changed: ")
    assert shots[-1].inputs == (1, 2)
    assert runner.pipeline.fed_s == 2.0
    assert shots[-1].audio_lost_s == 0.0

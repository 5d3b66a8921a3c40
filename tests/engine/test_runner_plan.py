"""A plan changed by command: the runner tells windows, the log and the headphones of it."""

from __future__ import annotations

from collections.abc import Sequence

from engine.commands import ChangePlan, Command, Open, Stop, SwapInputs, Watch
from engine.model import LogState, Snapshot
from engine.runner import Asked, Runner
from engine.session_log import Line, Stamp
from engine.sources.synthetic import ArraySource
from engine.who import Who
from engine.world import World
from tests.signals import noise

RATE = 48_000
SOUND = noise(-50.0, 2.0, RATE, tracks=2)
TEXT = '[[track]]\ninput = 2\nname = "Boom"  # by the slip\n\n[[track]]\ninput = 1\nname = "Lav"\n'


class Notes:
    """A log that keeps its lines."""

    def __init__(self) -> None:
        self.lines: list[Line] = []

    def write(self, lines: Sequence[Line], stamp: Stamp, *, now: bool = False) -> None:
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
    world = World(open_source=lambda _request: ArraySource(SOUND, RATE))
    runner = Runner(Open(take="x"), shots.append, world, log=log, on_plan=told.append)
    who = Who("mixer", "window", 1)
    for command in commands:
        runner.commands.put(Asked(command, who))
    while not runner._ended:
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
    assert shots[-1].notice.startswith("plan not changed: plan: line 3")
    assert len(runner.plan.tracks) == 2

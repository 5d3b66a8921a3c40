"""A round over a watch that is fed by hand: what the headphones are asked for, and when."""

from __future__ import annotations

import numpy as np
import pytest

from engine.listen.output import Asked
from engine.model.commands import (
    EndRound,
    Listen,
    OutOfService,
    RoundNext,
    StartRound,
    StopListening,
)
from engine.model.messages import Block, Kind
from engine.model.round_state import Heard
from engine.model.tracks import Plan, Track
from engine.pipeline.pipeline import Pipeline
from engine.runtime.round_player import TARGET_LUFS, RoundPlayer

RATE = 48_000
PLAN = Plan(
    (
        Track(1, "Foreman"),
        Track(2, "Rigger"),
        Track(3, "Boom"),
        Track(4, "Spare", Kind.UNUSED),
        Track(5, "Code", Kind.TIMECODE),
    )
)


def sound(seconds: float) -> np.ndarray:
    """Noise on three tracks, 20 dB apart; digital silence on the rest."""
    rng = np.random.default_rng(2)
    out = np.zeros((round(seconds * RATE), 5), dtype=np.float32)
    for n, level in enumerate((0.1, 0.01, 0.03)):
        out[:, n] = level * rng.standard_normal(len(out))
    return out


def begun(*commands: object) -> tuple[Pipeline, RoundPlayer, list[Asked]]:
    """A watch of five seconds, a round, and what the headphones were asked for."""
    pipeline = Pipeline(PLAN, RATE)
    asked: list[Asked] = []
    player = RoundPlayer(pipeline, asked.append)
    pipeline.feed(Block(sound(5.0)))
    for command in commands:
        pipeline.command(command, 5.0)
    return pipeline, player, asked


def test_only_tracks_with_something_to_hear_are_played_equally_loud() -> None:
    """Unused inputs and code are left out; gains differ by what the loudness does: 20 and 10 dB."""
    _, player, asked = begun()
    for command in (StartRound(8.0), RoundNext(), RoundNext(), RoundNext()):
        player.command(command, 5.0)
    listens = [one for one in asked if isinstance(one, Listen)]
    assert [one.track for one in listens] == [1, 2, 3]
    gains = [one.match_db for one in listens]
    np.testing.assert_allclose(np.diff(gains), [20.0, -9.54], atol=0.3)
    assert isinstance(asked[-1], StopListening)
    assert TARGET_LUFS == -23.0


def test_a_track_out_of_service_is_left_out() -> None:
    """The crew took it out: nobody listens to it."""
    _, player, asked = begun(OutOfService(2, on=True))
    player.command(StartRound(8.0), 5.0)
    player.command(RoundNext(), 6.0)
    assert [one.track for one in asked if isinstance(one, Listen)] == [1, 3]


def test_listening_by_hand_ends_the_round() -> None:
    """The headphones are left to the crew."""
    _, player, asked = begun()
    player.command(StartRound(8.0), 5.0)
    player.listens_by_hand(8.0)
    count = len(asked)
    player.step([], 30.0)
    assert len(asked) == count
    assert not player.state(30.0).on
    assert [heard.track for heard in player.take_unlogged()] == [1]


def test_a_round_that_raises_ends_and_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """One line, silence in the headphones, and the next round plays."""
    pipeline, player, asked = begun()
    player.command(StartRound(8.0), 5.0)
    with monkeypatch.context() as broken:
        broken.setattr(pipeline, "totals", lambda: 1 / 0)
        player.command(RoundNext(), 6.0)
    assert player.problem == "the round broke off: ZeroDivisionError: division by zero"
    assert isinstance(asked[-1], StopListening)
    player.command(StartRound(8.0), 7.0)
    assert player.problem == ""
    assert player.state(7.0).on


def test_what_nobody_can_hear_does_not_count() -> None:
    """No output: the round is over within two seconds, one line says why, nothing goes to the log,
    and the next round may play."""
    pipeline = Pipeline(PLAN, RATE)
    pipeline.feed(Block(sound(5.0)))
    why = ["no sound output found"]
    player = RoundPlayer(pipeline, lambda _: None, (), lambda: why[0])
    player.command(StartRound(8.0), 5.0)
    for tick in range(25):
        player.step([], 5.0 + 0.1 * tick)
    assert not player.state(7.5).on
    assert player.problem == "the round is over, nothing is heard: no sound output found"
    assert player.take_unlogged() == []
    why[0] = ""
    player.command(StartRound(8.0), 8.0)
    player.step([], 10.5)
    assert player.problem == ""
    assert player.state(10.5).track == 1


def test_the_end_of_the_watch_keeps_what_was_heard() -> None:
    """The track that plays then counts, too."""
    _, player, _ = begun()
    player.command(StartRound(8.0), 5.0)
    assert [heard.track for heard in player.finish(9.0)] == [1]


def test_the_end_of_a_round_stops_the_sound() -> None:
    """EndRound lets go of the headphones."""
    _, player, asked = begun()
    player.command(StartRound(8.0), 5.0)
    player.command(EndRound(), 6.0)
    assert isinstance(asked[-1], StopListening)


def test_a_restart_remembers_who_was_listened_to() -> None:
    """What was heard before the restart is shown, and comes after what nobody has heard."""
    pipeline, _, asked = begun()
    player = RoundPlayer(pipeline, asked.append, [Heard(1, 1.0, 4.0)])
    assert player.state(5.0).heard == (Heard(1, 1.0, 4.0),)
    player.command(StartRound(8.0), 5.0)
    assert asked[-1].track == 2
    assert player.state(5.0).due == (3, 1)

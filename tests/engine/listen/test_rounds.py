"""Which track a round plays and how long, by a clock that the test moves.

That the doubtful come first, then those heard longest ago, is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from engine.listen.rounds import COUNTS_S, Ears, Rounds
from engine.model.commands import EndRound, RoundBack, RoundNext, RoundSay, RoundStay, StartRound
from engine.model.round_state import Heard
from tests.support.strategies import untimed

ALL = Ears((1, 2, 3, 4))


def played(rounds: Rounds, ears: Ears, from_s: float, seconds: float) -> list[int | None]:
    """What plays in each tick of 100 ms, changes only."""
    order: list[int | None] = []
    for n in range(round(seconds * 10)):
        track = rounds.step(ears, from_s + n / 10)
        if not order or order[-1] != track:
            order.append(track)
    return order


def test_every_track_once_then_silence() -> None:
    """Four tracks of 8 s: 32 s, and nothing after."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    assert played(rounds, ALL, 0.0, 40.0) == [1, 2, 3, 4, None]
    assert [h.track for h in rounds.take_unlogged()] == [1, 2, 3, 4]


def test_doubtful_tracks_first_then_those_heard_longest_ago() -> None:
    """Track 4 shows a sign; 2 was never heard, 3 before 1."""
    rounds = Rounds([Heard(1, 90.0, 98.0), Heard(3, 40.0, 48.0)])
    ears = replace(ALL, doubtful=(4,))
    rounds.command(StartRound(3.0), ears, 100.0)
    assert played(rounds, ears, 100.0, 20.0) == [4, 2, 3, 1, None]


def test_a_track_is_left_when_its_performer_stops_and_kept_while_they_talk() -> None:
    """Talk to 5 s: left at 6.5 s, before its 8 s; talk without end: kept for 16 s."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    talking = replace(ALL, talking=(1, 2))
    played(rounds, talking, 0.0, 5.0)
    assert rounds.step(ALL, 6.3) == 1
    assert rounds.step(ALL, 6.5) == 2
    assert played(rounds, talking, 6.5, 15.5) == [2]
    assert rounds.step(talking, 22.6) == 3


def test_a_breath_is_no_end() -> None:
    """A pause of a second does not cut somebody off."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    rounds.step(replace(ALL, talking=(1,)), 5.0)
    assert rounds.step(ALL, 6.0) == 1


def test_stay_next_back_and_end() -> None:
    """The keys do what they say."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    assert rounds.command(RoundNext(), ALL, 3.0) == 2
    rounds.command(RoundStay(), ALL, 4.0)
    assert rounds.step(ALL, 60.0) == 2
    assert rounds.command(RoundBack(), ALL, 61.0) == 1
    assert rounds.command(RoundNext(), ALL, 62.0) == 2
    assert rounds.command(EndRound(), ALL, 63.0) is None
    assert not rounds.state(64.0).on


def test_what_is_said_is_kept_and_right_goes_on() -> None:
    """'Sounds right' goes on to the next; a doubt stays on the track."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    assert rounds.command(RoundSay(right=True), ALL, 3.0) == 2
    assert rounds.command(RoundSay(right=False, word="rustle"), ALL, 6.0) == 2
    rounds.command(RoundNext(), ALL, 7.0)
    first, second = rounds.take_unlogged()
    assert (first.track, first.right) == (1, True)
    assert (second.track, second.right, second.word) == (2, False, "rustle")


def test_a_track_that_goes_red_is_heard_first_if_so_set() -> None:
    """The track in fault interrupts, then the round goes on where it was; or it does not."""
    fault = replace(ALL, fault=3)
    rounds = Rounds()
    rounds.command(StartRound(8.0, interrupt=True), ALL, 0.0)
    assert rounds.step(fault, 3.0) == 3
    assert rounds.step(Ears((1, 2, 4)), 5.9) == 3  # digital silence is what is wrong with it
    assert rounds.command(RoundNext(), ALL, 6.0) == 1
    rounds.command(StartRound(8.0, interrupt=False), ALL, 10.0)
    before = rounds.step(ALL, 11.0)
    assert rounds.step(fault, 12.0) == before


def test_a_track_that_is_put_aside_is_left() -> None:
    """Out of service in the middle of its time: the next one plays."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    assert rounds.step(Ears((2, 3, 4)), 3.0) == 2


def test_a_glimpse_is_not_listening() -> None:
    """A track skipped at once was not heard by anybody."""
    rounds = Rounds()
    rounds.command(StartRound(8.0), ALL, 0.0)
    rounds.command(RoundNext(), ALL, COUNTS_S / 2)
    assert rounds.take_unlogged() == []


@given(st.lists(st.sampled_from([RoundNext(), RoundBack(), RoundStay(), RoundSay(right=True)])))
@untimed
def test_whatever_is_pressed_only_tracks_of_the_watch_play(keys: list) -> None:
    """Any keys in any order: a track that may be played, or nothing; the end always ends it."""
    rounds = Rounds()
    rounds.command(StartRound(3.0), ALL, 0.0)
    for n, key in enumerate(keys, start=1):
        assert rounds.command(key, ALL, 2.5 * n) in (1, 2, 3, 4, None)
    assert rounds.command(EndRound(), ALL, 1e6) is None

"""The line check: what it hears of each track, and what the crew can do with it in any order.

Targets for speech and peaks, and a safety 12 dB under its main: common practice, no source; levels
by AES17.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from engine.line_check.checker import LineChecker
from engine.line_check.live_check import LiveLineCheck
from engine.model.commands import EndLineCheck, LineCheckGo, LineCheckMark, StartLineCheck
from engine.model.line_results import Heard, Verdict, findings
from engine.model.messages import Block, Kind, PackLevel, Samples
from engine.model.tracks import Plan, Scene, Track
from engine.pipeline.pipeline import Pipeline
from tests.support.signals import noise, sine

RATE = 16_000
PLAN = Plan(
    (
        Track(1, "Foreman main", who="Foreman", level=PackLevel.MAIN),
        Track(2, "Foreman safety", who="Foreman", level=PackLevel.SAFETY),
        Track(3, "Rigger main", who="Rigger", level=PackLevel.MAIN),
        Track(4, "Spare", kind=Kind.UNUSED),
        Track(5, "Square crowd", kind=Kind.AMBIENCE),
    )
)
TRACKS = len(PLAN.tracks)


def place_sound(seconds: float, dbfs: float = -66.0) -> Samples:
    """The place itself on every track."""
    return noise(dbfs, seconds, RATE, seed=5, tracks=TRACKS)


def talk(seconds: float, dbfs: float) -> np.ndarray:
    """Words: 0.3 s of low, uneven noise at that level, 0.2 s of pause, and so on."""
    sound = noise(0.0, seconds, RATE, seed=8)[:, 0].astype(np.float64)
    low = np.convolve(sound, np.ones(32) / 32.0, mode="same")
    low /= np.sqrt(2.0 * np.mean(low**2))
    words = np.arange(len(low)) % (RATE // 2) < 0.3 * RATE
    return low * 10.0 ** (dbfs / 20.0) * words


def tap(x: Samples, at_s: float, track: int, peak_dbfs: float = -20.0) -> None:
    """A knock on that input: 5 ms attack, gone within 30 ms."""
    start = round(at_s * RATE)
    t = np.arange(round(0.03 * RATE)) / RATE
    knock = np.sin(2 * np.pi * 300.0 * t) * np.exp(-t / 0.006)
    x[start : start + len(t), track - 1] += 10.0 ** (peak_dbfs / 20.0) * knock


def remembered(pipeline: Pipeline, detector: str) -> tuple[tuple[float, ...], ...]:
    """The first field of what that detector learned, row by row in track order."""
    return next(m.fields[0] for m in pipeline.learned if m.detector == detector)


def checked(x: Samples, *commands: object) -> Pipeline:
    """A watch that heard those samples with a check open from the start."""
    pipeline = Pipeline(PLAN, RATE)
    pipeline.command(StartLineCheck(), 0.0)
    for command in commands:
        pipeline.command(command, 0.0)
    pipeline.feed(Block(x))
    return pipeline


def heard(pipeline: Pipeline) -> Heard:
    """What was heard of the track asked for."""
    state = pipeline.lines.checker.state()
    assert state is not None
    return state.heard


def test_a_voice_is_measured() -> None:
    """Words at -24 dBFS read so to 1 dB, their peak exactly, over the floor of the pauses."""
    x = place_sound(10.0)
    voice = talk(10.0, -24.0)
    x[:, 0] += voice.astype(np.float32)
    got = heard(checked(x))
    assert got.came
    assert got.enough
    assert got.speech_dbfs == pytest.approx(-24.0, abs=1.0)
    assert got.peak_dbfs == pytest.approx(20 * np.log10(np.abs(x[:, 0]).max()), abs=0.01)
    assert got.floor_dbfs == pytest.approx(-66.0, abs=2.0)
    assert findings(got, safety=False, talks=True) == ()


@pytest.mark.parametrize(
    ("dbfs", "safety", "words"),
    [(-40.0, False, "10 dB under"), (-14.0, False, "6 dB over"), (-38.0, True, "")],
)
def test_a_level_off_its_target_is_said(dbfs: float, safety: bool, words: str) -> None:
    """Under -30 or over -20 dBFS (12 dB lower on a safety) the finding says by how much."""
    told = " ".join(findings(Heard(speech_s=4.0, speech_dbfs=dbfs), safety, talks=True))
    assert words in told
    assert bool(told) == bool(words)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_pair_shows_offset_and_polarity(sign: float) -> None:
    """A safety 12 dB down reads 12 dB, and an inverted one is called inverted."""
    x = place_sound(6.0)
    voice = talk(6.0, -20.0).astype(np.float32)
    x[:, 0] += voice
    x[8:, 1] += np.float32(sign * 10 ** (-12 / 20)) * voice[:-8]  # half a millisecond later
    got = heard(checked(x))
    assert got.offset_db == pytest.approx(12.0, abs=0.5)
    assert got.inverted is (sign < 0)


def test_taps_are_counted_and_words_are_not() -> None:
    """Three knocks are three taps; four seconds of words are none."""
    x = place_sound(6.0)
    for at_s in (2.0, 2.7, 3.6):
        tap(x, at_s, 1)
    got = heard(checked(x))
    assert got.taps == 3
    assert got.enough
    x = place_sound(6.0)
    x[:, 0] += talk(6.0, -24.0).astype(np.float32)
    assert heard(checked(x)).taps == 0


def test_a_tap_on_another_input_is_a_wrong_patch() -> None:
    """The asked mic is tapped twice and comes up on 3: said within half a second of the second."""
    x = place_sound(3.5)
    tap(x, 2.4, 3)
    tap(x, 3.0, 3)
    for number in (1, 2, 5):  # a knock is heard by others nearby, fainter
        tap(x, 2.4, number, -38.0)
        tap(x, 3.0, number, -38.0)
    got = heard(checked(x))
    assert got.elsewhere == 3
    assert "input 3" in findings(got, safety=False, talks=True)[0]


def test_main_and_safety_patched_the_wrong_way_round_are_told() -> None:
    """The main's mic that comes up on its own safety's input is a wrong patch too."""
    x = place_sound(3.5)
    tap(x, 2.4, 2)
    tap(x, 3.0, 2)
    assert heard(checked(x)).elsewhere == 2


def test_others_talking_is_no_wrong_patch() -> None:
    """Words on another mic while the asked one is quiet say nothing about the patch."""
    x = place_sound(8.0)
    x[:, 2] += talk(8.0, -18.0).astype(np.float32)
    assert heard(checked(x)).elsewhere is None


def test_clipping_and_hum_are_seen() -> None:
    """Flat tops and mains hum while a track is asked for are among its findings."""
    x = place_sound(8.0)
    x[:, 0] += sum(sine(-40.0, 8.0, RATE, 50.0 * n)[:, 0] for n in (1, 3, 5))
    x[6 * RATE : 7 * RATE, 0] += np.clip(sine(12.0, 1.0, RATE, 300.0)[:, 0], -0.9, 0.9)
    got = heard(checked(x))
    assert got.clipped
    assert "50" in got.hum
    told = findings(got, safety=False, talks=True)
    assert any("clipping" in words for words in told)
    assert any("as normal" in words for words in told)


def test_a_pass_teaches_floor_and_offset() -> None:
    """After a pass the watch knows the pair's offset and the floor; the result is kept."""
    pipeline = Pipeline(PLAN, RATE)
    pipeline.command(StartLineCheck(), 0.0)
    x = place_sound(8.0)
    voice = talk(8.0, -24.0).astype(np.float32)
    x[:, 0] += voice
    x[:, 1] += voice / 4
    pipeline.feed(Block(x))
    assert np.isnan(remembered(pipeline, "PairDrift")[0]).all()
    assert np.isnan(pipeline.meter.learned().floor_dbfs[0])
    pipeline.command(LineCheckMark(Verdict.PASSED, " fine "), 8.0)
    assert remembered(pipeline, "PairDrift")[0][1] == pytest.approx(12.04, abs=0.8)
    assert pipeline.meter.learned().floor_dbfs[0] == pytest.approx(-66.0, abs=2.5)
    (result,) = pipeline.lines.checker.results
    assert (result.track, result.verdict, result.note) == (1, Verdict.PASSED, "fine")
    assert pipeline.lines.take_unlogged() == [result]
    assert pipeline.lines.take_unlogged() == []


@pytest.mark.parametrize("verdict", Verdict)
def test_hum_of_a_passed_track_is_normal(verdict: Verdict) -> None:
    """Two lines of -48 dBFS add up to -45: learned where the track passed, else not."""
    x = place_sound(8.0)
    x[:, 0] += sum(sine(-48.0, 8.0, RATE, 50.0 * n)[:, 0] for n in (1, 3))
    pipeline = checked(x)
    pipeline.command(LineCheckMark(verdict), 8.0)
    passed = verdict is Verdict.PASSED
    assert remembered(pipeline, "Hum")[0][0] == (
        pytest.approx(-45.0, abs=1.0) if passed else -np.inf
    )


def test_one_track_again_in_ten_seconds() -> None:
    """Mid-show one track is asked for alone, measured within ten seconds, and the rest stays."""
    pipeline = Pipeline(PLAN, RATE)
    pipeline.feed(Block(place_sound(12.0)))
    pipeline.command(StartLineCheck((3,)), 12.0)
    x = place_sound(5.0)
    x[:, 2] += talk(5.0, -26.0).astype(np.float32)
    pipeline.feed(Block(x))
    assert heard(pipeline).enough
    pipeline.command(LineCheckMark(Verdict.PASSED), 17.0)
    state = pipeline.lines.checker.state()
    assert state is not None
    assert state.at is None
    assert state.order == (3,)


class Crew(RuleBasedStateMachine):
    """Any order of commands: the check stays within its order, and no result is lost."""

    def __init__(self) -> None:
        super().__init__()
        scene = Scene(PLAN.tracks, RATE)
        pipeline = Pipeline(PLAN, RATE)
        self.lines: LiveLineCheck = pipeline.lines
        self.checker: LineChecker = self.lines.checker
        self.used = [t.input for t in scene.tracks if t.kind is not Kind.UNUSED]
        self.said: dict[int, Verdict] = {}
        self.now_s = 0.0

    @rule(tracks=st.lists(st.integers(1, 7), max_size=3))
    def start(self, tracks: list[int]) -> None:
        """Begin, with or without naming tracks."""
        self.lines.command(StartLineCheck(tuple(tracks)), self.now_s, "")

    @rule(track=st.integers(0, 7))
    def go(self, track: int) -> None:
        """Step to a track, there or not."""
        self.lines.command(LineCheckGo(track), self.now_s, "")

    @rule(verdict=st.sampled_from(Verdict))
    def mark(self, verdict: Verdict) -> None:
        """Decide."""
        state = self.checker.state()
        self.lines.command(LineCheckMark(verdict), self.now_s, "")
        if state is not None and state.at is not None:
            self.said[state.at] = verdict

    @rule(verdict=st.sampled_from(Verdict), track=st.integers(1, 7))
    def mark_what_was_seen(self, verdict: Verdict, track: int) -> None:
        """Decide on a track that may not be asked for any more: then nothing is decided."""
        asked = self.checker.asked
        self.lines.command(LineCheckMark(verdict, "", track), self.now_s, "")
        if asked == track:
            self.said[track] = verdict
        else:
            assert self.checker.asked == asked

    @precondition(lambda self: self.checker.is_open)
    @rule()
    def end(self) -> None:
        """Close it."""
        self.lines.command(EndLineCheck(), self.now_s, "")
        assert self.checker.state() is None

    @invariant()
    def nothing_is_lost(self) -> None:
        """The newest word on each track stands, and what is asked for is in the order."""
        assert {r.track: r.verdict for r in self.checker.results} == self.said
        state = self.checker.state()
        if state is not None:
            assert state.at is None or state.at in state.order
            assert set(state.order) <= set(self.used) | {4}


TestCrew = Crew.TestCase


@pytest.mark.parametrize("seconds", [0.5, 1.0, 4.0])
def test_noise_is_no_speech_however_early_the_check_begins(seconds: float) -> None:
    """Steady noise well over the level of faint words, from the first moment of the watch on."""
    x = np.random.default_rng(7).standard_normal((round(seconds * RATE), len(PLAN.tracks)))
    got = heard(checked((x * 10 ** (-45.0 / 20)).astype(np.float32)))
    assert not got.came
    assert got.speech_s == 0.0


def test_people_come_in_any_order() -> None:
    """Nobody is asked for twice: after who came first it goes on with who is left, to the end."""
    lines = Pipeline(PLAN, RATE).lines
    lines.command(StartLineCheck(), 0.0, "")
    state = lines.checker.state()
    assert state is not None
    order = state.order
    lines.command(LineCheckGo(order[2]), 0.0, "")
    asked = []
    while (at := lines.checker.asked) is not None:
        asked.append(at)
        lines.command(LineCheckMark(Verdict.PASSED, "", at), 0.0, "")
    assert asked == [*order[2:], *order[:2]]

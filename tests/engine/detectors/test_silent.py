"""Silent: background and room tone are no longer there.

Source for the kind of fault: EBU QC item 0078B, Audio Silence (version 2.0): the level of a channel
lies under a threshold for longer than a minimum duration. Both are set by the user there; ours are
by CONTRACT.md, as are onsets to within 0.5 s. Healthy floors: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.silent import Silent
from engine.model.messages import Kind, PackLevel, State
from engine.model.tracks import Scene, Track
from tests.support.detector_tracks import place, words
from tests.support.signals import noise, scene
from tests.support.watching import Told, lost, measurements, told

RATE = 8_000
WITHIN_S = 0.5


def falls(at_s: float, back_s: float, seconds: float, before: float, during: float) -> np.ndarray:
    """Noise at one level that falls to another for a while."""
    x = noise(before, seconds, RATE)
    span = slice(round(at_s * RATE), round(back_s * RATE))
    x[span] *= 10 ** ((during - before) / 20)
    return x


def assert_one(said: Told, begin_s: float, end_s: float) -> None:
    """One silence was told, with that onset and end."""
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(begin_s, abs=WITHIN_S)
    assert last_s == pytest.approx(end_s, abs=WITHIN_S)


def test_a_fall_below_presence_is_told_from_its_begin_to_its_end() -> None:
    """One silence is told from where the place was last heard to where it is heard again."""
    where = scene(rate_hz=RATE)
    x = falls(20.037, 25.462, 30.0, -50.0, -90.0)
    assert_one(told(Silent(where), x, where), 20.037, 25.462)


def test_the_plans_presence_counts() -> None:
    """A presence level set in the plan is used instead of the learned one."""
    where = Scene((Track(1, limits={"presence_dbfs": -62.0}),), RATE)
    x = falls(5.0, 10.0, 15.0, -55.0, -68.0)
    assert_one(told(Silent(where), x, where), 5.0, 10.0)


def segments_by_definition(
    samples: np.ndarray, threshold_dbfs: float, least_s: float
) -> list[tuple[float, float]]:
    """EBU QC 0078B read plainly: where the level of 100 ms stays under the threshold so long."""
    parts = samples[:, 0].astype(np.float64).reshape(-1, RATE // 10)
    under = 10 * np.log10(2.0 * np.mean(parts**2, axis=1)) < threshold_dbfs
    edges = np.flatnonzero(np.diff(under, prepend=False, append=False))
    spans = (edges.reshape(-1, 2) / 10.0).tolist()
    return [(begin, end) for begin, end in spans if end - begin >= least_s]


def test_segments_are_those_of_the_published_definition() -> None:
    """Silences of 7 to 14 s in a minute and a half are found where the definition has them."""
    where = Scene((Track(1, limits={"presence_dbfs": -62.0}),), RATE)
    x = noise(-52.0, 90.0, RATE)
    for begin_s, length_s in ((12.0, 7.0), (30.0, 14.0), (56.0, 9.0), (75.0, 12.0)):
        x[round(begin_s * RATE) : round((begin_s + length_s) * RATE)] *= np.float32(
            10 ** (-20 / 20)
        )
    expected = segments_by_definition(x, -62.0, 6.0)
    assert len(expected) == 4
    said = [span for span in told(Silent(where), x, where).spans_s if span[1] - span[0] >= 6.0]
    np.testing.assert_allclose(said, expected, atol=WITHIN_S)


@pytest.mark.parametrize(
    ("level", "floor_dbfs"),
    [(PackLevel.MAIN, -62.0), (PackLevel.MAIN, -48.0), (PackLevel.SAFETY, -80.0)],
)
def test_a_healthy_pause_is_not_silent(level: PackLevel, floor_dbfs: float) -> None:
    """Live floors as healthy takes have them, from the first moment on, are present."""
    where = scene(rate_hz=RATE, level=level)
    assert State.ACTIVE not in told(Silent(where), noise(floor_dbfs, 20.0, RATE), where).states


def test_a_place_that_goes_quiet_everywhere() -> None:
    """A crowd that leaves takes 11 dB from every track: none is silent but the one that lost 40."""
    where = Scene(tuple(Track(n, kind=Kind.AMBIENCE) for n in range(1, 8)), RATE)
    x = np.hstack([place(-40.0 - 3.0 * n, 30.0, RATE, seed=n) for n in range(7)])
    x[18 * RATE :, :6] *= np.float32(10 ** (-11 / 20))
    x[18 * RATE :, 6] *= np.float32(10 ** (-40 / 20))
    detector = Silent(where)
    states = [detector.update(m, feed).state == State.ACTIVE for m, feed in measurements(x, where)]
    lasted_s = np.sum(states, axis=0) / 10.0
    assert (lasted_s[:6] < 1.0).all()
    assert lasted_s[6] > 11.0


def test_five_that_hear_the_place_go_quiet_are_enough() -> None:
    """Where no more tracks are open than that, a place that falls still is no fault either."""
    where = Scene(tuple(Track(n, kind=Kind.AMBIENCE) for n in range(1, 6)), RATE)
    x = np.hstack([place(-40.0 - 3.0 * n, 26.0, RATE, seed=n) for n in range(5)])
    x[18 * RATE :] *= np.float32(10 ** (-11 / 20))
    detector = Silent(where)
    states = [detector.update(m, feed).state == State.ACTIVE for m, feed in measurements(x, where)]
    assert (np.sum(states, axis=0) < 10).all()


def test_never_heard_is_said() -> None:
    """A track that was never audible is told so, with its onset at the start."""
    where = scene(rate_hz=RATE)
    detector = Silent(where)
    assert_one(told(detector, noise(-95.0, 5.0, RATE), where), 0.0, 5.0)
    assert "never heard" in detector.detail(0)


def test_a_click_is_no_return() -> None:
    """A click every second does not start the silence anew."""
    where = scene(rate_hz=RATE)
    x = falls(20.0, 30.0, 30.0, -50.0, -95.0)
    x[20 * RATE + 77 :: RATE] = 2e-3
    assert_one(told(Silent(where), x, where), 20.0, 30.0)


def test_lost_audio_is_unknown() -> None:
    """A tick that was lost whole says nothing of silence."""
    where = scene(rate_hz=RATE)
    x = noise(-50.0, 5.0, RATE)
    x[2 * RATE : 3 * RATE] = 0.0
    states = told(Silent(where), x, where, missing=lost(len(x), (2 * RATE, 3 * RATE))).states
    assert states[20:30] == [State.UNKNOWN] * 10
    assert State.ACTIVE not in states


def test_comms_timecode_and_unused_are_never_silent() -> None:
    """Kinds for which quiet is normal are left out."""
    kinds = (Kind.COMMS, Kind.TIMECODE, Kind.UNUSED)
    where = Scene(tuple(Track(n, kind=kind) for n, kind in enumerate(kinds, 1)), RATE)
    detector = Silent(where)
    for m, feed in measurements(np.zeros((RATE, 3), dtype=np.float32), where):
        assert (detector.update(m, feed).state != State.ACTIVE).all()


def test_a_word_does_not_end_a_silence_that_was_told() -> None:
    """Faint words, after the silence was too long already, leave one silence."""
    where = scene(rate_hz=RATE)
    x = falls(15.0, 45.0, 50.0, -55.0, -95.0)
    spoken = slice(30 * RATE, 32 * RATE)
    x[spoken] += words(-55.0, 2.0, RATE, on_s=0.3, off_s=0.2)
    assert_one(told(Silent(where), x, where), 15.0, 45.0)


def test_a_cough_through_a_covered_mic_does_not_start_it_anew() -> None:
    """Half a second of it after seven is over presence; the place it covers is not back."""
    where = scene(rate_hz=RATE)
    x = falls(20.0, 40.0, 45.0, -50.0, -90.0)
    x[27 * RATE : round(27.5 * RATE)] = noise(-48.0, 0.5, RATE, seed=2)
    assert_one(told(Silent(where), x, where), 20.0, 40.0)


def test_words_as_far_over_the_floor_as_ever_end_it() -> None:
    """A pack that slipped hears its room 13 dB fainter, and its wearer 26 dB over what the floor
    was: it is no lost one, nor in the next pause."""
    where = scene(rate_hz=RATE)
    x = np.vstack([noise(-60.0, 20.0, RATE), place(-73.0, 50.0, RATE)])
    spoken = slice(40 * RATE, 44 * RATE)
    x[spoken] += words(-34.0, 4.0, RATE, on_s=0.3, off_s=0.2)
    assert_one(told(Silent(where), x, where), 20.0, 41.0)


def test_words_through_a_lost_mic_do_not_end_it() -> None:
    """An attenuator took 30 dB: what shouts still bring over the floor that was leaves it lost."""
    where = scene(rate_hz=RATE)
    x = falls(20.0, 60.0, 65.0, -60.0, -90.0)
    x[40 * RATE : 44 * RATE] += words(-40.0, 4.0, RATE, on_s=0.3, off_s=0.2)
    assert_one(told(Silent(where), x, where), 20.0, 60.0)


def test_a_second_of_the_place_ends_a_short_silence() -> None:
    """Two falls of five seconds, heard for more than a second between, are two."""
    where = scene(rate_hz=RATE)
    x = falls(20.0, 31.2, 40.0, -50.0, -90.0)
    x[25 * RATE : round(26.2 * RATE)] = noise(-50.0, 1.2, RATE, seed=2)
    said = told(Silent(where), x, where)
    assert [begin for begin, _ in said.spans_s] == pytest.approx([20.0, 26.2], abs=0.1)


def test_a_link_that_came_back_is_heard_at_once() -> None:
    """After 12 s of digital zero the place, at first so quiet that moments lie under presence,
    ends the silence: no dead microphone speaks through a muted link."""
    where = scene(rate_hz=RATE)
    x = noise(-55.0, 45.0, RATE)
    x[20 * RATE : 32 * RATE] = 0.0
    after = np.arange(len(x)) >= 32 * RATE
    x[after] *= np.float32(10 ** (-4 / 20))
    after &= np.arange(len(x)) < 34 * RATE
    x[after & (np.arange(len(x)) % (RATE // 10) < 0.04 * RATE)] *= np.float32(10 ** (-7 / 20))
    assert_one(told(Silent(where), x, where), 20.0, 32.0)

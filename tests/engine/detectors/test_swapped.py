"""Swapped inputs: who correlates with whom, and whose voice is heard where.

Two microphones on one body hear its voice within a millisecond and 10 to 20 dB apart in gain; at
another body, some metres off, it is 20 dB fainter and 9 ms late (inverse distance; 343 m/s). The
voices are those of `tests.support.harmless_sound`, played faster or slower so that pitch and
formants differ as those of a man and a woman do (G. Fant, 1960, textbook).
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.swapped import Swapped
from engine.model.messages import Kind, PackLevel, State
from engine.model.tracks import Scene, Track
from tests.support import harmless_sound as sound
from tests.support.watching import measurements

SECONDS = 76.0
SWAP_S = 44.0
WHO = ("foreman", "rigger")
SCENE = Scene(
    (
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
        Track(3, who="rigger", level=PackLevel.MAIN),
        Track(4, who="rigger", level=PackLevel.SAFETY),
        Track(5, kind=Kind.BOOM),
    ),
    sound.RATE,
)


def spoken(who: int) -> sound.Wave:
    """Turns of 4 s: one performer speaks, then the other."""
    rng = np.random.default_rng(20 + who)
    fast = (0.85, 1.3)[who]
    made = sound.voice(SECONDS * fast + 1.0, -24.0, rng, talks=0.9)
    frames = round(SECONDS * sound.RATE)
    voice = np.interp(np.arange(frames) * fast, np.arange(len(made)), made)
    turn = (np.arange(frames) // (4 * sound.RATE)) % 2 == who
    return np.asarray(voice * turn)


def night(voices: list[sound.Wave]) -> np.ndarray:
    """The five tracks as they should be, shape (frames, tracks)."""
    tracks = []
    for who, other in ((0, 1), (1, 0)):
        far = sound.delayed(voices[other], 430) * 0.08
        for gain, late in ((1.0, 0), (0.2, 9)):
            rng = np.random.default_rng(len(tracks))
            own = sound.delayed(voices[who], late)
            tracks.append(gain * (own + far + sound.room(SECONDS, -56.0, rng)))
    tracks.append(0.1 * (voices[0] + voices[1]) + sound.room(SECONDS, -56.0, rng))
    return sound.takes(tracks)


NIGHT = night([spoken(0), spoken(1)])


def exchanged(
    order: tuple[int, ...], from_s: float = SWAP_S, healthy: np.ndarray = NIGHT
) -> np.ndarray:
    """From that moment on track n carries what track `order[n]` carried."""
    x = healthy.copy()
    at = round(from_s * sound.RATE)
    x[at:] = healthy[at:][:, order]
    return x


def one_speaks_on() -> list[sound.Wave]:
    """From the swap on the rigger says nothing, and the foreman all the time."""
    after = np.arange(round(SECONDS * sound.RATE)) >= SWAP_S * sound.RATE
    rng = np.random.default_rng(20)
    made = sound.voice(SECONDS * 0.85 + 1.0, -24.0, rng, talks=0.9)
    foreman = np.interp(np.arange(len(after)) * 0.85, np.arange(len(made)), made)
    return [np.where(after, foreman, spoken(0)), np.where(after, 0.0, spoken(1))]


def found(x: np.ndarray, scene: Scene = SCENE) -> list[tuple[float, int, int, str]]:
    """When, on which track, with which other, in which words: each once."""
    detector = Swapped(scene)
    said: list[tuple[float, int, int, str]] = []
    for m, feed in measurements(x, scene):
        condition = detector.update(m, feed)
        for at in np.flatnonzero(condition.state == State.ACTIVE).tolist():
            assert condition.partners is not None
            if at not in [one[1] for one in said]:
                said.append((m.end_s, at, int(condition.partners[at]), detector.detail(at)))
    return said


def test_nothing_changed_places() -> None:
    """Two who take turns are no swap, whoever speaks."""
    assert found(NIGHT) == []


def test_two_mains_are_named() -> None:
    """The inputs of both mains, within ten seconds of speech."""
    ((at_s, at, other, words),) = found(exchanged((2, 1, 0, 3, 4)))
    assert {at, other} == {0, 2}
    assert SWAP_S < at_s < SWAP_S + 10.0
    assert words.startswith("inputs 1 and 3: ")


def test_two_mains_from_the_start() -> None:
    """Nothing was learned, but main and safety hear two voices."""
    ((at_s, at, other, words),) = found(exchanged((2, 1, 0, 3, 4), 0.0))
    assert {at, other} == {0, 2}
    assert at_s < 24.0  # the first ten seconds know no floor, and so no speech
    assert words.endswith("main and safety belong to two performers")


def test_both_packs_of_two_performers() -> None:
    """Both pairs still match in themselves: the voices tell."""
    ((at_s, at, other, words),) = found(exchanged((2, 3, 0, 1, 4)))
    assert {at, other} == {0, 2}
    assert SWAP_S < at_s < SWAP_S + 10.0
    assert words.endswith("carries the voice of the other")


def test_both_packs_of_two_while_one_says_nothing() -> None:
    """The foreman is as loud as ever on the rigger's input, and not heard on the own one."""
    x = exchanged((2, 3, 0, 1, 4), healthy=night(one_speaks_on()))
    ((at_s, at, other, words),) = found(x)
    assert {at, other} == {0, 2}
    assert SWAP_S < at_s < SWAP_S + 10.5
    assert "carries the voice of the other" in words


@pytest.mark.parametrize("louder_db", [-14.0, -9.0, 9.0])
def test_a_voice_that_is_heard_on_another_pack_has_not_moved(louder_db: float) -> None:
    """The foreman's packs went off, and they stand with the rigger: louder or fainter there than
    they ever were on their own."""
    voices = one_speaks_on()
    x = night(voices)
    at = round(SWAP_S * sound.RATE)
    x[at:, :2] = 1e-5 * np.random.default_rng(1).standard_normal(x[at:, :2].shape)
    near = voices[0][at:] * 10 ** (louder_db / 20)
    x[at:, 2] += near.astype(np.float32)
    x[at:, 3] += 0.2 * near.astype(np.float32)
    assert found(x) == []


@pytest.mark.parametrize("lines_hz", [(235.0,), (220.0, 277.0, 330.0), (50.0, 100.0, 150.0)])
def test_a_few_lines_prove_no_swap(lines_hz: tuple[float, ...]) -> None:
    """A howl, a chord or hum comes up on two mains and no safety, in step, while the foreman's turn
    begins: what stands at one frequency agrees at some lag, whoever hears it."""
    x = NIGHT[: 36 * sound.RATE].copy()
    t = np.arange(6 * sound.RATE) / sound.RATE
    rising = 0.1 * np.minimum(t / 1.5, 1.0) ** 2 / len(lines_hz)
    lines = rising * sum(np.sin(2.0 * np.pi * hz * t + hz) for hz in lines_hz)
    x[29 * sound.RATE : 35 * sound.RATE, [0, 2]] += lines[:, np.newaxis].astype(np.float32)
    assert found(x) == []


def test_an_aircraft_is_no_voice() -> None:
    """Dull noise that all packs hear within a millisecond of each other, 25 dB up and down in 35 s
    (sound pressure falls with distance): the pairs match no better than strangers."""
    x = NIGHT.copy()
    frames = 35 * sound.RATE
    t = np.linspace(-1.0, 1.0, frames)
    rng = np.random.default_rng(8)
    roar = sound.band(rng.standard_normal(frames), 40.0, 600.0) * 10.0 ** (-25.0 * t**2 / 20.0)
    at = 30 * sound.RATE
    for track, late in enumerate((0, 90, 20, 100)):
        gain = (0.06, 0.012)[track % 2]
        x[at : at + frames, track] += gain * sound.delayed(roar, late).astype(np.float32)
    assert found(x) == []


def test_a_sound_on_one_pack_alone_is_no_voice() -> None:
    """What a wearer's other pack does not hear, wind or a rub of cloth, tells nothing, even where
    it has the spectra of the other's voice, as here by voices that no second pack hears."""
    at = round(SWAP_S * sound.RATE)
    x = night(
        [np.where(np.arange(len(NIGHT)) < at, voice, 0.0) for voice in (spoken(0), spoken(1))]
    )
    for column, who in ((0, 1), (2, 0)):
        x[at:, column] += spoken(who)[: len(x) - at]
    assert found(x) == []


def test_what_all_packs_hear_by_their_gains_has_not_moved() -> None:
    """The rigger speaks on into a hand microphone, over loudspeakers: loudest on the pack with most
    gain, but as far over the floor on all."""
    at = round(SWAP_S * sound.RATE)
    before = np.arange(len(NIGHT)) < at
    x = night([np.where(before, voice, 0.0) for voice in (spoken(0), spoken(1))])
    x[:, :2] *= 1.6
    for column, gain in enumerate((1.28, 0.256, 0.8, 0.16, 0.3)):
        x[at:, column] += gain * spoken(1)[at:].astype(np.float32)
    assert found(x) == []


def test_a_fainter_pack_on_an_input_with_a_higher_floor() -> None:
    """All inputs are moved by one: a safety comes in under the floor that was learned of a main."""
    ((at_s, *_),) = found(exchanged((4, 0, 1, 2, 3)))
    assert SWAP_S < at_s < SWAP_S + 8.0


def test_two_safeties_are_named() -> None:
    """The voices on the mains stay, so the safeties changed places."""
    said = found(exchanged((0, 3, 2, 1, 4)))
    assert said
    assert {said[0][1], said[0][2]} in ({0, 2}, {1, 3})


def test_it_ends_when_the_plugs_are_back() -> None:
    """What was swapped for twelve seconds is over within as many after that."""
    x = exchanged((2, 1, 0, 3, 4))
    back = round((SWAP_S + 14.0) * sound.RATE)
    x[back:] = NIGHT[back:]
    detector = Swapped(SCENE)
    active = []
    for m, feed in measurements(x, SCENE):
        condition = detector.update(m, feed)
        active.append(bool((condition.state == State.ACTIVE).any()))
    assert any(active)
    assert not active[-1]


@pytest.mark.parametrize("off", ["swapped"])
def test_the_plan_may_leave_it_off(off: str) -> None:
    """With one pack watched there is nobody to change places with."""
    limits: dict[str, float | str | None] = {off: "off"}
    tracks = tuple(Track(t.input, who=t.who, level=t.level, limits=limits) for t in SCENE.tracks)
    scene = Scene(tracks, sound.RATE)
    detector = Swapped(scene)
    for m, feed in measurements(NIGHT[: 2 * sound.RATE], scene):
        assert (detector.update(m, feed).state == State.UNKNOWN).all()


def test_a_wearer_who_sounds_like_another_is_no_swap() -> None:
    """Calm after shouts, the rigger sounds as the foreman did, as loud through a main whose limiter
    held the shouts; the safety has no limiter, and its gain is not that of the foreman's."""
    x = exchanged((2, 3, 0, 1, 4), healthy=night(one_speaks_on()))
    at = round(SWAP_S * sound.RATE)
    x[at:, 3] *= np.float32(10 ** (-9 / 20))
    assert found(x) == []


def test_mains_that_are_off_have_not_moved() -> None:
    """Two stand so close that each is heard on the other's packs, and both mains go silent."""
    near = [spoken(0) + 0.45 * spoken(1), spoken(1) + 0.45 * spoken(0)]
    x = night(near)
    x[round(SWAP_S * sound.RATE) :, [0, 2]] = 0.0
    assert found(x) == []


def test_the_voice_of_a_dead_main_proves_no_swap() -> None:
    """The foreman talks on, his main is off: two who say nothing hear him across the place, their
    mains within a millisecond of each other, their safeties by another way of the room."""
    voice = one_speaks_on()[0]
    tracks = []
    for gain, late in ((1.0, 0), (0.05, 9), (0.1, 430), (0.02, 1050), (0.1, 445), (0.02, 1330)):
        rng = np.random.default_rng(len(tracks))
        floor = sound.room(SECONDS, -62.0, rng) * (1.0 if len(tracks) % 2 == 0 else 0.2)
        tracks.append(gain * sound.delayed(voice, late) + floor)
    x = sound.takes(tracks)
    x[round(SWAP_S * sound.RATE) :, 0] *= 1e-5
    levels = (PackLevel.MAIN, PackLevel.SAFETY)
    scene = Scene(
        tuple(
            Track(n + 1, who=("foreman", "rigger", "ringer")[n // 2], level=levels[n % 2])
            for n in range(6)
        ),
        sound.RATE,
    )
    assert found(x, scene) == []


def test_what_never_pauses_is_nobodys_voice() -> None:
    """An engine beside the rigger that sounds as the foreman does, as loud in every 50 ms."""
    x = exchanged((2, 3, 0, 1, 4), healthy=night(one_speaks_on()))
    after = x[round(SWAP_S * sound.RATE) :].reshape(-1, round(0.05 * sound.RATE), x.shape[1])
    level = np.sqrt(np.square(after[:, :, 2:4]).mean(axis=1, keepdims=True))
    after[:, :, 2:4] *= np.quantile(level, 0.7, axis=0) / np.maximum(level, 1e-6)
    assert found(x) == []

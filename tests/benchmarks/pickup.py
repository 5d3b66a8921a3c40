"""Who still hears whom, in rooms made from physics: how often the right track is named.

python -m tests.benchmarks.pickup [--scenes N] [--first SEED]

Rooms: the direct sound falls with distance, the reverberation is noise that decays by 60 dB in the
reverberation time (J. D. Polack's statistical model, "La transmission de l'energie sonore dans les
salles", 1988), equally strong everywhere; both are equal at the critical distance. Voices are the
held-out recordings where they were fetched. All is at 16 kHz, which holds what is looked at (levels
of voices, and the sound at 2 kHz) at a third of the cost. Truth is reckoned from the images of the
voice itself, before they are added: the track where it is clearest while they speak alone, by the
useful-to-detrimental ratio: the sound of the first 50 ms over what comes later and all noise
(J. S. Bradley, "Predictors of speech intelligibility in rooms", JASA 80 (1986), 837; from memory).
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from engine.model.messages import Kind, PackLevel
from engine.model.pickups import Pickup
from engine.model.tracks import Scene, Track
from engine.pickup.pickup_meter import PickupMeter
from engine.pipeline.framing import TickFramer
from tests.benchmarks.night import voices as night

RATE: Final = 16_000
SOUND_M_S: Final = 343.0
LENGTH_S: Final = 75
WINDOW_S: Final = 120
MOUTH_TO_LAV_M: Final = 0.2

Audio = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """A scene: its tracks, the sound, who is asked about, and the truth.

    over_db : useful-to-detrimental ratio of the voice of `who` on each track, dB
    """

    tracks: tuple[Track, ...]
    sound: Audio
    who: str
    over_db: NDArray[np.float64]
    delay_s: NDArray[np.float64]


def _image(voice: Audio, distance_m: NDArray[np.float64]) -> Audio:
    """The direct sound of a voice at a microphone whose distance moves; level 1 is that at 1 m."""
    frames = np.arange(len(voice))
    moved = np.interp(frames - distance_m / SOUND_M_S * RATE, frames, voice) / distance_m
    return np.asarray(moved, dtype=np.float32)


def _late(voice: Audio, reverb: Audio) -> Audio:
    """Its reverberation."""
    return np.asarray(signal.oaconvolve(voice, reverb)[: len(voice)], dtype=np.float32)


def _reverb(rt60_s: float, rng: np.random.Generator) -> Audio:
    """Decaying noise of energy 1, after 20 ms."""
    t = np.arange(round(rt60_s * RATE)) / RATE
    tail = rng.standard_normal(len(t)) * 10.0 ** (-3.0 * t / rt60_s)
    tail[: RATE // 50] = 0.0
    return np.asarray(tail / np.sqrt((tail**2).sum()), dtype=np.float32)


def _turns(count: int, rng: np.random.Generator) -> list[list[tuple[float, float]]]:
    """When each performer speaks: turns of 3 to 9 s, now and then two at once, pauses between."""
    spans: list[list[tuple[float, float]]] = [[] for _ in range(count)]
    spans[0].append((1.0, 7.0))
    at, last = 8.0, 0
    while at < LENGTH_S - 4:
        who = int(rng.choice([n for n in range(count) if n != last]))
        length = float(rng.uniform(3.0, 9.0))
        spans[who].append((at, min(at + length, LENGTH_S - 1)))
        if rng.random() < 0.2:
            spans[int(rng.integers(count))].append((at + 1.0, min(at + length, LENGTH_S - 1)))
        at, last = at + length + float(rng.uniform(0.2, 2.0)), who
    return spans


def _walk(near_m: float, far_m: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """A distance that wanders between two bounds, at most about half a metre a second."""
    knots = rng.uniform(near_m, far_m, LENGTH_S // 5 + 2)
    most = 2.5
    for n in range(1, len(knots)):
        knots[n] = np.clip(knots[n], knots[n - 1] - most, knots[n - 1] + most)
    t = np.arange(LENGTH_S * RATE) / RATE
    return np.interp(t, np.arange(len(knots)) * 5.0, knots)


def stage(seed: int, hears: bool) -> Stage:
    """One scene; `hears`: a boom follows the performer who will be asked about."""
    rng = np.random.default_rng([seed, hears])
    count = int(rng.integers(2, 5))
    people = [f"performer {n + 1}" for n in range(count)]
    rt60_s, critical_m = float(rng.uniform(0.2, 1.0)), float(rng.uniform(1.5, 5.0))
    voices = []
    for voice, spans in zip(night.speakers(count, rng), _turns(count, rng), strict=True):
        said = np.zeros(LENGTH_S * RATE, dtype=np.float32)
        for begin, end in spans:
            a, b = round(begin * RATE), round(end * RATE)
            turn = voice.turn((b - a) * night.RATE // RATE, rng)
            said[a:b] = signal.resample_poly(turn, 1, night.RATE // RATE)
        voices.append(said * np.float32(10 ** (rng.uniform(-4, 4) / 20)))
    places: list[tuple[Track, list[NDArray[np.float64]], float, float]] = []
    for n, who in enumerate(people):
        away = [
            _walk(2.0, 10.0, rng) if m != n else np.full(LENGTH_S * RATE, MOUTH_TO_LAV_M)
            for m in range(count)
        ]
        if not hears:
            away = [a if m == n else a + 40.0 for m, a in enumerate(away)]
        for level, gain_db in ((PackLevel.MAIN, -14.0), (PackLevel.SAFETY, -26.0)):
            track = Track(len(places) + 1, f"{who} {level}", Kind.LAV, who, level)
            places.append((track, away, gain_db + rng.uniform(-2, 2), rng.uniform(-68, -56)))
    follows = [0, int(rng.integers(1, count))] if hears else [int(rng.integers(1, count))] * 2
    for n, target in enumerate(follows):
        away = [
            _walk(0.6, 1.4, rng) if m == target else _walk(3.0, 12.0, rng) + (0 if hears else 60)
            for m in range(count)
        ]
        track = Track(len(places) + 1, f"boom {n + 1}", Kind.BOOM)
        places.append((track, away, rng.uniform(0, 8), rng.uniform(-62, -48)))
    away = [_walk(15.0, 30.0, rng) + (0 if hears else 60) for _ in range(count)]
    places.append(
        (Track(len(places) + 1, "ambience", Kind.AMBIENCE), away, 10.0, rng.uniform(-50, -42))
    )
    reverb = [_reverb(rt60_s, rng) for _ in places]
    out, over, delays = [], [], []
    gate = _alone(voices)
    dry = 1.0 if hears else 0.02  # far apart, each in a place of their own
    for (track, away, gain_db, floor_dbfs), tail in zip(places, reverb, strict=True):
        gain = np.float32(10 ** (gain_db / 20))
        shares = [np.float32(dry if track.who != who else 1) / critical_m for who in people]
        direct, late = _image(voices[0], away[0]), _late(voices[0] * shares[0], tail)
        rest = [voice * share for voice, share in zip(voices[1:], shares[1:], strict=True)]
        others = _late(sum(rest), tail)
        others += sum(_image(voice, away[m]) for m, voice in enumerate(voices) if m > 0)
        noise = _noise(rng, floor_dbfs)
        over.append(_clear_db(gain * direct[gate], gain * late[gate], noise[gate], tail))
        delays.append((away[0][gate].mean() - MOUTH_TO_LAV_M) / SOUND_M_S)
        out.append(gain * (direct + late + others) + noise)
    sound = np.clip(np.stack(out, axis=1), -1.0, 1.0).astype(np.float32)
    return Stage(tuple(p[0] for p in places), sound, people[0], np.array(over), np.array(delays))


def _clear_db(direct: Audio, late: Audio, noise: Audio, tail: Audio) -> float:
    """The useful-to-detrimental ratio, from the parts of what one mic hears."""
    power = [float(np.square(part, dtype=np.float64).mean()) for part in (direct, late, noise)]
    soon = float(np.square(tail[: RATE // 20]).sum() / np.square(tail).sum())
    useful = power[0] + soon * power[1]
    return float(10 * np.log10(useful / ((1.0 - soon) * power[1] + power[2] + 1e-20) + 1e-9))


def _noise(rng: np.random.Generator, level_dbfs: float) -> Audio:
    """Room tone: noise that falls by about 3 dB an octave, slowly up and down by 2 dB."""
    white = rng.standard_normal(LENGTH_S * RATE)
    pink = signal.lfilter([0.05, -0.0959, 0.0506, -0.0044], [1, -2.4949, 2.0172, -0.5221], white)
    slow = np.interp(
        np.arange(len(pink)),
        np.arange(0, len(pink) + 4 * RATE, 4 * RATE),
        rng.uniform(-2, 2, LENGTH_S // 4 + 2),
    )[: len(pink)]
    pink *= 10 ** (slow / 20) * 10 ** (level_dbfs / 20) / np.sqrt(2) / pink.std()
    return np.asarray(pink, dtype=np.float32)


def _alone(voices: list[Audio]) -> NDArray[np.bool_]:
    """Where the first performer speaks and no other does, by hops of 10 ms."""
    hop = RATE // 100
    loud = [np.square(v).reshape(-1, hop).mean(axis=1) > 1e-6 for v in voices]
    mine = loud[0] & ~np.logical_or.reduce(loud[1:])
    return np.repeat(mine, hop)


def named(scene: Stage) -> Pickup | None:
    """What the program names for the performer of that scene, at its end."""
    meter = PickupMeter(Scene(scene.tracks, RATE))
    for tick in TickFramer(Scene(scene.tracks, RATE)).feed(scene.sound):
        meter.update(tick.measurement, ())
    own = [t.input for t in scene.tracks if t.who == scene.who]
    return meter.map.best(scene.who, float(LENGTH_S), own)


def words(best: Pickup | None) -> str:
    """That in a few words."""
    if best is None:
        return "none"
    figures = f"{best.over_db:.1f} dB, {1e3 * best.delay_s:.1f} ms, {best.seconds} s"
    return f"{best.track} at {figures}{' (a guess)' if best.guess else ''}"


def main() -> None:
    """Print how often the right track is named, and none where none hears."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=10)
    parser.add_argument("--first", type=int, default=0)
    asked = parser.parse_args()
    right = near = silent = 0
    errors_ms = []
    for seed in range(asked.first, asked.first + asked.scenes):
        for hears in (True, False):
            scene = stage(seed, hears)
            best = named(scene)
            own = np.array([t.who == scene.who for t in scene.tracks])
            over_db = np.where(own, -99.0, scene.over_db)
            top = int(np.argmax(over_db))
            truth = f"{top + 1} at {over_db[top]:.1f} dB, {1e3 * scene.delay_s[top]:.1f} ms"
            kind = "hears" if hears else "none"
            print(f"{seed} {kind}: truth {truth}; named {words(best)}", flush=True)
            silent += not hears and best is None
            if hears and best is not None:
                right += best.track == top + 1
                near += over_db[best.track - 1] > over_db[top] - 3.0
                errors_ms.append(1e3 * abs(best.delay_s - scene.delay_s[best.track - 1]))
    print(f"the clearest track {right}, one within 3 dB of it {near} of {asked.scenes}")
    print(f"none named where none hears {silent} of {asked.scenes}")
    if errors_ms:
        print(
            f"delay off by {np.median(errors_ms):.2f} ms in the median, {max(errors_ms):.1f} worst"
        )


if __name__ == "__main__":
    main()

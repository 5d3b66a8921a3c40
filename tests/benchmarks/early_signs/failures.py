"""Slow failures of every kind: how long before the alarm their early sign is told.

python -m tests.benchmarks.early_signs [--sessions N] [--first SEED]

A session is five minutes of healthy sound, then ten in which eight performers' main packs go from
healthy to dead, each in a way of its own, while their safeties and two booms stay well; the whole
engine watches. Voices are the held-out recordings and made ones, two conversations of four in two
rooms. What fails, by physics:

- the margin of a radio link shrinks evenly from 32 to 2 dB: outages of a Rayleigh channel received
  by two antennas. Crossings a second and the mean time below, with r the ratio of bound to RMS:
  sqrt(2 pi) f r exp(-r^2) and (exp(r^2) - 1) / (r f sqrt(2 pi)) (W. C. Jakes, "Microwave Mobile
  Communications", 1974, ch. 1; from memory); both antennas must be down at once. A digital link
  mutes, an analogue one is full of noise;
- floor and hum rise evenly in dB, the gain too until the converter clips, a mic slips evenly in dB;
- cloth and sweat lower a mic's treble: a low-pass whose corner sinks by octaves in even time;
- pops of a contact come ever more often: a Poisson process whose rate grows by even factors.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy import signal

from engine.model.early_signs import SignKind
from engine.model.messages import Block, EventKind, Kind, PackLevel
from engine.model.tracks import Plan, Track
from engine.pipeline.pipeline import Pipeline
from tests.benchmarks.night.scenes import worn
from tests.benchmarks.night.sounds import Audio, band, gain, shaped, wander, white
from tests.benchmarks.night.voices import ACTIVE_DBFS, RATE, Voice, speakers

HEALTHY_S, FAILING_S, PIECE_S = 300, 600, 20
EARLY_S: Final = 60.0
VOICE_DBFS: Final = -30.0
DOPPLER_HZ: Final = 2.6
"""Somebody who walks at 1.3 m/s on 600 MHz."""

Rng = np.random.Generator


@dataclass(slots=True, eq=False)
class Failing:
    """A main pack on its way down; `state` is what one piece leaves to the next."""

    kind: SignKind
    sense: float
    state: dict[str, Audio] = field(default_factory=dict)


def outages(u: float, rng: Rng) -> list[tuple[int, int]]:
    """Begin and length of outages in one piece, frames, at that share of the way."""
    ratio = 10.0 ** ((-32.0 + 30.0 * u) / 20.0)
    crossings = np.sqrt(2.0 * np.pi) * DOPPLER_HZ * ratio * np.exp(-(ratio**2))
    share = 1.0 - np.exp(-(ratio**2))
    many = rng.poisson(2.0 * crossings * share * PIECE_S)
    mean_s = share / crossings / 2.0
    return [
        (int(rng.integers(PIECE_S * RATE)), int(rng.exponential(mean_s) * RATE) + 1)
        for _ in range(many)
    ]


def gaps(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """A digital link mutes; its receiver's output stage still has its own noise."""
    for begin, frames in outages(u, rng):
        part = sound[begin : begin + frames]
        part[:] = white(len(part), rng, -100.0)
    return sound


def bursts(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """An analogue link gives noise instead."""
    for begin, frames in outages(u, rng):
        part = sound[begin : begin + frames]
        part[:] = white(len(part), rng, float(rng.uniform(-40.0, -20.0)))
    return sound


def floor(sound: Audio, one: Failing, u: float, rng: Rng) -> Audio:
    """Noise of the link, up to 30 dB under the voice."""
    return sound + white(len(sound), rng, -85.0 + (55.0 + one.sense) * u)


def hum(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """50 Hz and its first harmonics."""
    t = np.arange(len(sound)) / RATE
    lines = sum(
        level * np.sin(2.0 * np.pi * 50.0 * n * t) for n, level in ((1, 1.0), (2, 0.4), (3, 0.6))
    )
    return sound + (gain(-90.0 + (50.0 + one.sense) * u) * lines).astype(np.float32)


def headroom(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """The gain creeps up until the converter clips."""
    return np.clip(sound * gain((26.0 + one.sense) * u), -1.0, 1.0)


def slipped(sound: Audio, one: Failing, u: float, rng: Rng) -> Audio:
    """The mic slides away from the mouth; its own noise stays."""
    return sound * gain(-(20.0 + one.sense) * u) + white(len(sound), rng, -78.0)


def covered(sound: Audio, one: Failing, u: float, _rng: Rng) -> Audio:
    """Ever more cloth before the mic."""
    corner = 14_000.0 * 2.0 ** (-(4.5 + one.sense / 6.0) * u)
    sos = signal.butter(2, corner, fs=RATE, output="sos")
    start = one.state.get("low-pass", np.zeros((1, 2), dtype=np.float32))
    made, one.state["low-pass"] = signal.sosfilt(sos, sound, zi=start)
    return np.asarray(made, dtype=np.float32)


def pops(sound: Audio, _one: Failing, u: float, rng: Rng) -> Audio:
    """A contact opens for a fraction of a millisecond to two."""
    rate_a_minute = 0.3 * 500.0**u
    for _ in range(rng.poisson(rate_a_minute * PIECE_S / 60.0)):
        frames = int(rng.uniform(0.0003, 0.002) * RATE)
        at = int(rng.integers(len(sound) - frames))
        click = np.exp(-np.arange(frames) / (0.3 * frames)) * rng.choice((-1.0, 1.0))
        sound[at : at + frames] += (click * gain(float(rng.uniform(-26.0, -10.0)))).astype(
            np.float32
        )
    return sound


WAYS: Final[dict[SignKind, Callable[[Audio, Failing, float, Rng], Audio]]] = {
    SignKind.GAPS: gaps,
    SignKind.BURSTS: bursts,
    SignKind.NOISE_FLOOR: floor,
    SignKind.HUM: hum,
    SignKind.HEADROOM: headroom,
    SignKind.PAIR_LEVEL: slipped,
    SignKind.PAIR_TREBLE: covered,
    SignKind.POPS: pops,
}


def tracks() -> tuple[Track, ...]:
    """Main and safety of eight performers, two booms."""
    made = []
    for n in range(len(WAYS)):
        for level in (PackLevel.MAIN, PackLevel.SAFETY):
            name = f"performer {n + 1} {level}"
            made.append(Track(len(made) + 1, name, Kind.LAV, f"performer {n + 1}", level))
    booms = [Track(len(made) + n, f"boom {n}", Kind.BOOM) for n in (1, 2)]
    return (*made, *booms)


def talk(voices: list[Voice], rng: Rng) -> Audio:
    """A piece of one conversation, shape (frames, voices)."""
    frames = PIECE_S * RATE
    stems = np.zeros((frames, len(voices)), dtype=np.float32, order="F")
    at = int(rng.uniform(0.0, 1.0) * RATE)
    while at < frames - RATE:
        who = int(rng.integers(len(voices)))
        length = min(int(rng.uniform(1.5, 6.0) * RATE), frames - at)
        turn = voices[who].turn(length, rng) * gain(VOICE_DBFS - ACTIVE_DBFS + rng.normal(0, 2))
        stems[at : at + length, who] += turn
        at += length + int(rng.uniform(0.2, 2.0) * RATE)
    return stems


def pieces(seed: int) -> Iterator[tuple[Audio, list[Failing]]]:
    """Sound of all tracks, piece by piece, and what fails on the mains."""
    rng = np.random.default_rng([seed, 17])
    kinds = [list(WAYS)[n] for n in rng.permutation(len(WAYS))]
    failing = [Failing(kind, float(rng.uniform(-3.0, 3.0))) for kind in kinds]
    voices = speakers(8, rng)  # the recorded ones first: two and two made ones in each room
    rooms = [voices[::2], voices[1::2]]
    mics = [_mic(n, rng) for n in range(18)]
    for number in range((HEALTHY_S + FAILING_S) // PIECE_S):
        stems = [talk(here, rng) for here in rooms]
        out = np.zeros((PIECE_S * RATE, 18), dtype=np.float32, order="F")
        u = (number * PIECE_S + 0.5 * PIECE_S - HEALTHY_S) / FAILING_S
        for n, mic in enumerate(mics):
            out[:, n] = mic.sound(stems[mic.room], rng)
            if n % 2 and n < 16:
                out[:, n] *= gain(-12.0)
            elif n < 16 and u > 0.0:
                one = failing[n // 2]
                out[:, n] = WAYS[one.kind](out[:, n].copy(), one, u, rng)
        yield np.clip(out, -1.0, 1.0), failing


@dataclass(frozen=True, slots=True, eq=False)
class _Mic:
    """What one mic hears of four voices: gain of each, dB, delay of each, frames; its own noise.

    tilt : of its place on the body, as the share of the last sample that is taken off
    """

    room: int
    gains_db: list[float]
    delays: list[int]
    noise: Audio
    tilt: float

    def sound(self, stems: Audio, rng: Rng) -> Audio:
        """A piece; the noise is another part of its own minute each time."""
        begin = int(rng.integers(len(self.noise) - len(stems)))
        noise, out = self.noise[begin : begin + len(stems)], np.zeros(len(stems), np.float32)
        for who, (level_db, delay) in enumerate(zip(self.gains_db, self.delays, strict=True)):
            out[delay:] += stems[: len(stems) - delay, who] * gain(level_db)
        out[1:] -= np.float32(self.tilt) * out[:-1]
        turns = 10.0 ** (0.05 * wander(len(out), RATE, 0.3, rng))  # of the head: 1 dB
        return (out * turns).astype(np.float32) + noise


def _mic(n: int, rng: Rng) -> _Mic:
    """Two packs a performer, then a boom in each room."""
    is_pack = n < 16
    gains_db = rng.uniform(-32.0, -22.0, 4) if is_pack else rng.uniform(-8.0, -4.0, 4)
    delays = rng.integers(200, 900, 4)
    if is_pack:  # 1 dB and 0.2 ms between the two packs on one body
        own = (n // 2) % 4
        gains_db[own], delays[own] = rng.uniform(-1.0, 0.0), rng.integers(20, 30)
    tilt = float(rng.uniform(-0.2, 0.4))
    noise = shaped(60 * RATE, RATE, band(40.0, 9000.0, -5.0), rng, float(rng.uniform(-78, -66)))
    if is_pack:
        noise += worn(60 * RATE, rng)
    return _Mic(n // 8 if is_pack else n - 16, gains_db.tolist(), delays.tolist(), noise, tilt)


@dataclass(slots=True)
class Story:
    """What was told of each input, stream time, s: its first amber, and each sign."""

    amber_s: dict[int, float] = field(default_factory=dict)
    fault: dict[int, str] = field(default_factory=dict)
    signs: list[tuple[int, SignKind, float]] = field(default_factory=list)


def watched(seed: int) -> tuple[Story, list[Failing]]:
    """One session through the whole engine."""
    pipeline, story, ways = Pipeline(Plan(tracks()), RATE), Story(), list[Failing]()
    for sound, failing in pieces(seed):
        ways = failing
        for event in pipeline.feed(Block(sound)):
            number = event.alarm.incident.track
            if event.kind is EventKind.RAISED and number is not None and event.at_s < HEALTHY_S:
                print(f"   alarm in health: {event.alarm.incident.fault} on {number}", flush=True)
            elif event.kind is EventKind.RAISED and number is not None:
                story.amber_s.setdefault(number, event.at_s)
                story.fault.setdefault(number, event.alarm.incident.fault.value)
        for sign in pipeline.outlook.take_events():
            if sign.began:
                story.signs += [(n, sign.sign.kind, sign.at_s) for n in sign.sign.tracks]
    return story, ways


def main() -> None:
    """Print each failure, then how many were told in time, and false signs by the hour."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sessions", type=int, default=3)
    parser.add_argument("--first", type=int, default=1)
    asked = parser.parse_args()
    ahead: dict[SignKind, list[float]] = defaultdict(list)
    false, began = 0, time.monotonic()
    dead_s = float(HEALTHY_S + FAILING_S)
    for seed in range(asked.first, asked.first + asked.sessions):
        story, failing = watched(seed)
        for n, one in enumerate(failing):
            number = 2 * n + 1
            amber_s = story.amber_s.get(number, dead_s)
            own = [s for i, kind, s in story.signs if i == number and HEALTHY_S < s <= amber_s]
            named = [s for i, kind, s in story.signs if i == number and kind is one.kind]
            lead_s = amber_s - min(own) if own else 0.0
            ahead[one.kind].append(lead_s)
            what = story.fault.get(number, "none, dead")
            said = f"its own sign at {min(named) - HEALTHY_S:.0f} s" if named else "no sign of it"
            print(f"{seed} {one.kind}: {lead_s:.0f} s before {what}", end="")
            print(f" at {amber_s - HEALTHY_S:.0f} s, {said}", flush=True)
        mains = set(range(1, 2 * len(failing), 2))
        wrong = [s for s in story.signs if s[0] not in mains or s[2] < HEALTHY_S]
        print("".join(f"   false: {kind} on {n} at {s:.0f} s\n" for n, kind, s in wrong), end="")
        false += len(wrong)
    healthy_h = asked.sessions * (10 * (HEALTHY_S + FAILING_S) + 8 * HEALTHY_S) / 3600.0
    for kind, leads in ahead.items():
        early = sum(s >= EARLY_S for s in leads)
        print(
            f"{kind:12} {early:3} of {len(leads)} a minute ahead; median {np.median(leads):.0f} s"
        )
    every = [s for leads in ahead.values() for s in leads]
    print(f"{'all':12} {sum(s >= EARLY_S for s in every):3} of {len(every)}")
    print(f"false signs: {false} in {healthy_h:.1f} healthy track-hours")
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()

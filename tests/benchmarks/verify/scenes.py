"""Takes with planted errors, and clean ones, held against a real session: what is named of them.

python -m tests.benchmarks.verify scenes [--count N] [--first-seed N] [--only WORD] [--minutes M]

Each seed is one stretch of the night of 60 to 120 s. Its copy goes through an analogue step, the
converter's noise, gains of its own and a clock 30 ppm off, is written as 24-bit WAV, and is held
against the session twice: clean, and with one error (they take turns). An error counts as named
where its word stands on the right tracks, at the right time, and nothing is said that is not so.
A mix-down beside the tracks is no error, and is to be named as well.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from engine.verify.result import Difference, Finding, Verification
from engine.verify.verify import verify
from tests.benchmarks.night.rig import analogue, dithered, resampled
from tests.benchmarks.night.sounds import Audio
from tests.benchmarks.night.voices import RATE
from tests.benchmarks.verify.planted import ERRORS, Planted
from tests.benchmarks.verify.recorded_night import START_S, Night, night, write_wav

CLOCK_PPM: Final = 30.0
BEYOND_S: Final = 1.0
NIGHT, OTHER_NIGHT, OTHER_MINUTES = 11, 12, 6
TIME_S: Final = 1.0
"""So near the time of a finding must be."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one take; `off_s`: how far its begin and its end were placed wrong."""

    error: str
    named: bool
    extra: tuple[str, ...]
    off_s: float | None


def copied(heard: Night, begin_s: float, seconds: float, rng: np.random.Generator) -> Audio:
    """What a recorder made of that stretch, before anything goes wrong."""
    sound = heard.cut(begin_s - BEYOND_S, seconds + 2.0 * BEYOND_S)
    sound = analogue(sound, RATE, rng, float(rng.uniform(-100.0, -86.0)))
    gains_db = rng.uniform(-6.0, 0.0) + rng.uniform(-0.5, 0.5, sound.shape[1])
    sound *= (10.0 ** (gains_db / 20.0)).astype(np.float32)
    made = resampled(sound, 1.0 + 1e-6 * CLOCK_PPM * float(rng.choice((-1.0, 1.0))))
    pace = len(made) / len(sound)
    begin = round(BEYOND_S * RATE * pace)
    return dithered(made[begin : begin + round(seconds * RATE * pace)], rng, 24)


def stretch(heard: Night, rng: np.random.Generator) -> tuple[float, float]:
    """Begin and length of a take, s."""
    seconds = float(rng.uniform(60.0, 120.0))
    return float(rng.uniform(2.0, heard.seconds - seconds - 130.0)), seconds


def held(heard: Night, take: Planted, folder: Path) -> Verification:
    """The take as a file, held against the session."""
    path = folder / "bell01.wav"
    label = START_S * RATE + round((take.span_s[0] + take.label_frames / 25.0) * RATE)
    write_wav(path, iter([take.sound]), len(take.sound), label, take.rate_hz, take.names)
    return verify(replace(heard.session, rolling=take.rolling), [path])


def outcome(error: str, take: Planted, result: Verification) -> Outcome:
    """Whether what was planted was named, and nothing else."""
    wrong = [finding for finding in result.all_findings if finding.is_wrong]
    meant = [finding for finding in result.all_findings if finding.what is take.what]
    extra = [f for f in wrong if not _is_true(f, take)]
    named = not wrong if take.what is None else bool(meant) and _all_named(meant, take, result)
    off_s = None
    if not take.elsewhere:
        span = result.takes[0].span_s if result.takes else None
        ends = (9.9, 9.9) if span is None else tuple(np.abs(np.subtract(span, take.span_s)))
        off_s = float(max(ends))
    return Outcome(error, named and not extra, tuple(f"{f.what}: {f.text}" for f in extra), off_s)


def _all_named(meant: list[Finding], take: Planted, result: Verification) -> bool:
    if take.tracks and {finding.track for finding in meant} != take.tracks:
        return False
    if take.mixes and {finding.channel for finding in meant} != take.mixes:
        return False
    if take.what is Difference.TIMECODE:
        return result.takes[0].timecode_frames == take.label_frames
    times = [abs(f.from_s - take.at_s) for f in meant if f.from_s is not None and take.at_s]
    return not take.at_s or (bool(times) and min(times) <= TIME_S)


def _is_true(finding: Finding, take: Planted) -> bool:
    if finding.what in take.also:
        return True
    on = not take.tracks or finding.track in take.tracks
    return finding.what is take.what and on


def outcomes(heard: Night, other: Night, seed: int, only: str, folder: Path) -> Iterator[Outcome]:
    """The clean take of a seed, then the same with an error."""
    rng = np.random.default_rng([seed, 18])
    begin_s, seconds = stretch(heard, rng)
    span = (begin_s, begin_s + seconds)
    clean = Planted(copied(heard, begin_s, seconds, rng), span, (span,))
    names = [name for name in ERRORS if only in name]
    if only != "none":
        error = names[seed % len(names)]
        take = ERRORS[error](clean, rng)
        if take.elsewhere:
            take = replace(take, sound=copied(other, *stretch(other, rng), rng))
        yield outcome(error, take, held(heard, take, folder))
    if only in {"", "none"}:
        yield outcome("clean", clean, held(heard, clean, folder))


def main() -> None:
    """Print each take that was not judged rightly, and the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=45)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--only", default="", help="errors whose name has this; none: clean takes")
    parser.add_argument("--minutes", type=int, default=20, help="of the session, made once")
    asked = parser.parse_args()
    heard, other = night(NIGHT, asked.minutes), night(OTHER_NIGHT, OTHER_MINUTES)
    began, made = time.monotonic(), list[Outcome]()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(asked.first_seed, asked.first_seed + asked.count):
            for one in outcomes(heard, other, seed, asked.only, Path(folder)):
                made.append(one)
                off = "" if one.off_s is None else f"{1000.0 * one.off_s:6.1f} ms off"
                if not one.named or (one.off_s or 0.0) > 0.02:
                    print(f"{seed} {one.error}: named {one.named}, {off} {one.extra}", flush=True)
            if len(made) % 30 == 0:
                print(table(made), flush=True)
    print(table(made))
    print(f"{len(made)} takes in {time.monotonic() - began:.0f} s")


def table(made: list[Outcome]) -> str:
    """Of each error: how many there were, named rightly, placed within 20 ms, and the worst."""
    lines = [f"{'':26}{'takes':>6}{'right':>7}{'within 20 ms':>14}{'worst':>9}"]
    totals: Counter[str] = Counter()
    for error in dict.fromkeys(one.error for one in made):
        of = [one for one in made if one.error == error]
        off = [one.off_s for one in of if one.off_s is not None]
        right, near = sum(one.named for one in of), sum(s <= 0.02 for s in off)
        worst = f"{1000.0 * max(off):.1f} ms" if off else ""
        lines.append(f"{error:26}{len(of):6}{right:7}{f'{near} of {len(off)}':>14}{worst:>9}")
        if error != "clean":
            totals.update(takes=len(of), right=right)
    lines.append(f"{'all errors':26}{totals['takes']:6}{totals['right']:7}")
    return "\n".join(lines)


if __name__ == "__main__":
    main()

"""The demo take repeated in time and over any number of tracks, with a plan that fits it."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from engine.model.messages import Samples
from engine.model.tracks import Track

TILE: Final = 12
"""Tracks of the demo take that are repeated; its spare input and its timecode are not."""
DEMO_HZ: Final = 48_000
ELSEWHERE_FRAMES: Final = 7 * DEMO_HZ + 4_321
"""How much later each repetition begins in the take."""


def blocks(tracks: int, rate_hz: int, seconds: float) -> Iterator[Samples]:
    """Blocks of a second or less, shape (frames, tracks).

    Each repetition is 1 dB quieter and begins elsewhere in the take, so that no track copies
    another. The rate is a multiple of the demo take's; between its samples lie straight lines.
    """
    from demo_audio import demo_take

    gains = np.array([10 ** (-(n // TILE) / 20) for n in range(tracks)], dtype=np.float32)
    times = rate_hz // DEMO_HZ
    assert rate_hz == times * DEMO_HZ
    take, demo_hz = soundfile.read(demo_take().take, dtype="int16", always_2d=True)
    assert demo_hz == DEMO_HZ
    frames, block = round(seconds * DEMO_HZ), np.empty((DEMO_HZ, tracks), dtype=np.float32)
    for first in range(0, frames, DEMO_HZ):
        for place in range(0, tracks, TILE):
            here = block[:, place : place + TILE]
            begin = first + place // TILE * ELSEWHERE_FRAMES
            at = np.arange(begin, begin + DEMO_HZ) % len(take)
            here[:] = take[at, : here.shape[1]]
        sound = block[: min(DEMO_HZ, frames - first)] * (gains / 32768.0)
        yield _finer(sound, times)


def _finer(block: Samples, times: int) -> Samples:
    if times == 1 or not len(block):
        return block
    following = np.vstack((block[1:], block[-1:]))
    shares = (np.arange(times, dtype=np.float32) / times)[None, :, None]
    steps = block[:, None, :] + shares * (following - block)[:, None, :]
    return np.ascontiguousarray(steps.reshape(-1, block.shape[1]))


def write_take(path: Path, tracks: int, minutes: float, rate_hz: int = DEMO_HZ) -> None:
    """That as a 24-bit file."""
    with soundfile.SoundFile(path, "w", rate_hz, tracks, "PCM_24", format="RF64") as file:
        for block in blocks(tracks, rate_hz, 60.0 * minutes):
            file.write(block)


def write_apart(path: Path, tracks: int, minutes: float, rate_hz: int = DEMO_HZ) -> None:
    """The same by a process of its own: what is started later must not inherit its peak memory."""
    words = (str(path), str(tracks), str(minutes), str(rate_hz))
    command = [sys.executable, "-m", "tests.benchmarks.tiled", *words]
    subprocess.run(command, check=True)


def plan_text(tracks: int) -> str:
    """The demo take's plan repeated as well: every repetition has performers of its own."""
    from demo_audio import demo_take
    from engine.plan.load import load_plan

    of_demo = load_plan(demo_take().plan).tracks[:TILE]
    text = '[take]\ntitle = "Raising the bell, again and again"\n'
    for n in range(tracks):
        text += _track_text(_again(of_demo[n % TILE], n))
    return text


def _again(track: Track, n: int) -> Track:
    time = 1 + n // TILE
    return replace(
        track,
        input=n + 1,
        name=f"{track.name} {time}",
        who=track.who and f"{track.who} {time}",
        receiver=track.receiver and f"{track.receiver}{time}",
    )


def _track_text(track: Track) -> str:
    lines = ["", "[[track]]", f"input = {track.input}", f'kind = "{track.kind.value}"']
    if track.level is not None:
        lines.append(f'level = "{track.level.value}"')
    texts = {key: getattr(track, key) for key in ("name", "who", "placement", "receiver")}
    lines += [f"{key} = {json.dumps(text, ensure_ascii=False)}" for key, text in texts.items()]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    write_take(Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), int(sys.argv[4]))

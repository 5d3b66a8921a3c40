"""The night that takes are cut from: its sound as the interface had it, and a real session's log.

Twelve tracks of the night's rig (`tests.benchmarks.night.scenes`) with held-out voices and places,
a minute at a time: people move from minute to minute, place and gains stay. The watch is the
program itself, `trackwarden replay` of that file as fast as it goes. Both are made once and kept
under `.artefacts/verify`.
"""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from engine.verify.watched_session import Session, read_session
from tests.benchmarks.night import scenes
from tests.benchmarks.night.sounds import Audio, gain, white
from tests.benchmarks.night.voices import RATE, Voice, speakers
from tests.support.checkout import ROOT
from tests.support.wav_files import bext, fmt, ixml, track_list

KEPT: Final = ROOT / ".artefacts" / "verify"
PIECE_S: Final = 60
JOIN_S: Final = 1
START_S: Final = 21 * 3600
NAMES: Final = tuple(one.name for one in scenes.INPUTS)
MICS: Final = scenes.MICS


@dataclass(frozen=True, slots=True, eq=False)
class Night:
    """A session and the file that its watch heard."""

    sound: Path
    session: Session
    seconds: int

    def cut(self, begin_s: float, seconds: float) -> Audio:
        """That stretch, shape (frames, 12)."""
        begin = round(begin_s * RATE)
        samples, _ = soundfile.read(
            self.sound, frames=round(seconds * RATE), start=begin, dtype="float32", always_2d=True
        )
        return np.asfortranarray(samples)


def night(seed: int, minutes: int) -> Night:
    """The night of that seed, made where it was not made yet."""
    folder = KEPT / f"night-{seed}-{minutes}"
    sound = folder / "sound.wav"
    if not (folder / "session").exists():
        folder.mkdir(parents=True, exist_ok=True)
        write_wav(sound, _pieces(seed, minutes), 60 * minutes * RATE, START_S * RATE)
        (folder / "plan.toml").write_text(scenes.plan_text(), encoding="utf-8")
        _watch(folder, sound)
    return Night(sound, read_session((folder / "session").resolve()), 60 * minutes)


def _watch(folder: Path, sound: Path) -> None:
    """The program watches the file; its session stays in the folder."""
    command = [sys.executable, "-m", "app", "replay", str(sound), "--console", "--speed", "1000"]
    subprocess.run(
        [*command, "--plan", str(folder / "plan.toml")],
        cwd=ROOT,
        env=os.environ | {"XDG_DATA_HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)},
        stdout=subprocess.DEVNULL,
        check=False,
    )
    (made,) = (folder / "trackwarden" / "sessions").iterdir()
    (folder / "session").symlink_to(made.relative_to(folder))


def _pieces(seed: int, minutes: int) -> Iterator[Audio]:
    rng = np.random.default_rng([seed, 2])
    stagger, spl = rng.uniform(10.0, 20.0, 3), float(rng.uniform(38.0, 44.0))
    voices = speakers(len(scenes.SHARES), rng)
    join = JOIN_S * RATE
    rise = np.sin(0.5 * np.pi * (np.arange(join) + 0.5) / join).astype(np.float32)[:, None]
    tail = np.zeros((join, len(NAMES)), dtype=np.float32)
    for number in range(minutes):
        piece = _piece(np.random.default_rng([seed, 3, number]), voices, stagger, spl)
        piece[:join] = piece[:join] * rise + tail * rise[::-1]
        tail = piece[-join:].copy()
        yield piece[:-join]


def _piece(
    rng: np.random.Generator, voices: list[Voice], stagger: scenes.Floats, spl: float
) -> Audio:
    frames = (PIECE_S + JOIN_S) * RATE
    sound = scenes.at_the_mics(scenes.conversation(frames, voices, rng), stagger, rng)
    sound += scenes.place(frames, spl, stagger, rng)
    for mic in scenes.LAVS:
        sound[:, mic] += scenes.worn(frames, rng) * gain(-scenes.to_safety(mic, stagger))
    sound[:, scenes.TALKBACK] += scenes.talkback(frames, rng) + white(frames, rng, -76.0)
    return sound


def write_wav(
    path: Path,
    pieces: Iterator[Audio],
    frames: int,
    label: int,
    rate_hz: int = RATE,
    names: Sequence[str] = NAMES,
) -> None:
    """24 bit with the begin in samples since midnight and the tracks' names; clipped as a file is.

    frames : of all pieces together
    label : of the first sample
    """
    width = len(names)
    rows = ixml(track_list(*enumerate(names, start=1)))
    head = fmt(width, rate_hz, 24) + bext(label) + rows
    size = frames * width * 3
    with path.open("wb") as out:
        out.write(struct.pack("<4sI4s", b"RIFF", 12 + len(head) + size, b"WAVE") + head)
        out.write(struct.pack("<4sI", b"data", size))
        for piece in pieces:
            codes = np.clip(np.rint(piece * np.float32(2**23)), -(2**23), 2**23 - 1)
            bytes_ = np.ascontiguousarray(codes, dtype="<i4").view(np.uint8)
            out.write(bytes_.reshape(-1, 4)[:, :3].tobytes())

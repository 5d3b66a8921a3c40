"""One bad take or plan by its number: the same seed and number are the same files."""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import Final

from tests.benchmarks.robustness import seeds
from tests.benchmarks.robustness.spoiling import TAKE_WORDS, spoil, spoil_plan

_NAMES: Final = ("take.wav", "take.flac", "TAKE.WAV", "take", "take.mp3", "tàke 🌊.wav")
_ODD_NAMES: Final = (b"ta\nke.wav", b"ta\x1b[31mke.wav", b"t\xe4ke.wav", b"\xe2\x80\xaekat.wav")
_SIDECARS: Final = ("notes.txt", ".hidden.wav", "mix.mp3", "report.pdf")


def chance_of(seed: int, number: int) -> random.Random:
    """What decides about that case."""
    return random.Random(f"{seed} {number}")


def take_case(chance: random.Random, folder: Path) -> Path:
    """Write a bad take into `folder`: four of five are one file, else a folder of mono files."""
    if chance.random() < 0.2:
        return _folder_case(chance, folder)
    name: str | bytes = chance.choice(_NAMES)
    if chance.random() < 0.02:
        name = chance.choice(_ODD_NAMES)
    path = folder / os.fsdecode(name)
    path.write_bytes(spoil(chance, chance.choice(seeds.takes()), TAKE_WORDS))
    return path


def _folder_case(chance: random.Random, folder: Path) -> Path:
    inside = folder / "take"
    inside.mkdir()
    whole = chance.choice(seeds.mono_takes())
    for number in range(1, chance.choice((1, 2, 3, 12)) + 1):
        content = whole if chance.random() < 0.9 else chance.choice(seeds.mono_takes())
        if chance.random() < 0.25:
            content = spoil(chance, content, TAKE_WORDS)
        (inside / f"{number} {chance.choice(('boom', 'Ringer', 'é'))}.wav").write_bytes(content)
    if chance.random() < 0.1:
        (inside / chance.choice(_SIDECARS)).write_bytes(chance.randbytes(50))
    if chance.random() < 0.05:
        (inside / os.fsdecode(chance.choice(_ODD_NAMES))).write_bytes(whole)
    if chance.random() < 0.05:
        _put_in_what_is_no_file(chance, inside)
    return inside


def _put_in_what_is_no_file(chance: random.Random, inside: Path) -> None:
    kind = chance.choice(("pipe", "folder", "loop", "nowhere", "zero"))
    odd = inside / "odd.wav"
    if kind == "pipe":
        os.mkfifo(odd)
    elif kind == "folder":
        odd.mkdir()
    else:
        odd.symlink_to({"loop": odd, "nowhere": "/nowhere.wav", "zero": "/dev/zero"}[kind])


def plan_case(chance: random.Random, folder: Path) -> tuple[Path, Path]:
    """Write a bad plan into `folder`, and a take that its seed fits."""
    take, plan = folder / "take.wav", folder / "plan.toml"
    take.write_bytes(seeds.sound_for_plans())
    plan.write_bytes(spoil_plan(chance, chance.choice(seeds.plans())))
    return plan, take

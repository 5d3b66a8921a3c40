"""A disk of our own, small enough to fill: for what happens when it is full or read-only."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

SIZE = 600_000


@dataclass
class SmallDisk:
    """A file system in memory, mounted at `path`."""

    path: Path

    def fill(self) -> None:
        """Leave no room."""
        with suppress(OSError), (self.path / "filler").open("wb", buffering=0) as filler:
            while True:
                filler.write(bytes(4096))

    def make_room(self) -> None:
        """Undo `fill`."""
        (self.path / "filler").unlink()

    def set_writable(self, writable: bool) -> None:
        """Mount it anew; only while no file on it is open for writing."""
        how = "remount,rw" if writable else "remount,ro"
        subprocess.run(["mount", "-o", how, str(self.path)], check=True)


@contextmanager
def small_disk(path: Path) -> Iterator[SmallDisk]:
    """Mount one there; skips the test where that is not allowed (it needs root)."""
    path.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(path)]
    if os.name != "posix" or subprocess.run(mount, capture_output=True).returncode:
        pytest.skip("mounting a small disk needs root")
    try:
        yield SmallDisk(path)
    finally:
        subprocess.run(["umount", "-l", str(path)], check=True)


@contextmanager
def hanging_disk(path: Path) -> Iterator[Callable[[bool], None]]:
    """A real file system there that can be told to hang, as a stalled network disk does.

    fsfreeze(8) holds up whoever writes, until it is let go; skips the test where that can't be had.
    """
    image = path.with_suffix(".img")
    image.write_bytes(bytes(64 * 2**20))
    path.mkdir()
    steps = (["mkfs.ext4", "-q", str(image)], ["mount", "-o", "loop", str(image), str(path)])
    for step in steps:
        try:
            done = subprocess.run(step, capture_output=True, check=False)
        except OSError:
            pytest.skip(f"{step[0]} is not here")
        if done.returncode:
            pytest.skip("mounting a disk of our own needs root and loop devices")

    def hang(on: bool) -> None:
        subprocess.run(["fsfreeze", "-f" if on else "-u", str(path)], check=True)

    try:
        yield hang
    finally:
        subprocess.run(["fsfreeze", "-u", str(path)], capture_output=True, check=False)
        subprocess.run(["umount", "-l", str(path)], check=True)

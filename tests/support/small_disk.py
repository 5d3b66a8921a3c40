"""A disk of our own, small enough to fill: for what happens when it is full or read-only."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
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

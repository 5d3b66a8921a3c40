"""What the system must not see while a bad file is tried: writes elsewhere, sockets, programs."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

_WRITING: Final = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
_CHANGES: Final = (
    *("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.truncate", "os.chmod"),
    *("os.chown", "os.utime", "shutil.rmtree", "shutil.move", "shutil.copyfile"),
    "sqlite3.connect",
)
_MOVES: Final = ("os.rename", "os.link", "shutil.move", "shutil.copyfile")
_NEVER: Final = (
    *("socket.__new__", "socket.connect", "socket.bind", "subprocess.Popen", "os.system"),
    *("os.exec", "os.posix_spawn", "os.symlink", "ctypes.dlopen"),
)


class Guard:
    """Notes what happens outside one folder while `watching`; Python's audit events tell."""

    def __init__(self) -> None:
        self._folder = ""
        self.seen: list[str] = []
        sys.addaudithook(self._hear)

    @contextmanager
    def watching(self, folder: Path) -> Iterator[None]:
        """From here to the end of the block, only `folder` may be written to."""
        self.seen, self._folder = [], os.path.realpath(folder)
        try:
            yield
        finally:
            self._folder = ""

    def _hear(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self._folder:
            return
        if event in _NEVER:
            self.seen.append(f"{event} {arguments[:2]}")
        elif event in _CHANGES:
            for path in arguments[: 2 if event in _MOVES else 1]:
                self._look(event, path)
        elif event == "open":
            path, mode, flags = arguments
            writes = set(mode or "") & set("wax+") or (flags or 0) & _WRITING
            if writes and not isinstance(path, int):
                self._look(event, path)

    def _look(self, event: str, path: Any) -> None:
        if isinstance(path, int):
            return
        where = os.path.realpath(os.fsdecode(path))
        if where != os.devnull and not (where + os.sep).startswith(self._folder + os.sep):
            self.seen.append(f"{event} {where}")


def tree(root: Path) -> frozenset[str]:
    """Every path under `root`; sees what libraries write past Python, too."""
    return frozenset(
        os.path.join(where, name)
        for where, folders, files in os.walk(root)
        for name in (*folders, *files)
    )


def forget_peak() -> None:
    """Begin to measure this process's peak memory anew (Linux: proc(5), clear_refs)."""
    Path("/proc/self/clear_refs").write_text("5")


def peak_mb() -> float:
    """The most memory this process held since then, MB of a million bytes."""
    status = Path("/proc/self/status").read_text()
    found = re.search(r"VmHWM:\s+(\d+) kB", status)
    assert found is not None
    return int(found[1]) * 1024 / 1e6

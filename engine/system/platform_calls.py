"""Every call that not all systems have, each with its equivalents; standard library alone.

Elsewhere nothing is asked of one system only, so that Windows and macOS can be kept honest by
reading this file. Which call exists where is in the library reference of Python, by "Availability".
"""

from __future__ import annotations

import ctypes
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from typing import IO, Any, Final

# ---- processes -----------------------------------------------------------------------------------


def outliving() -> dict[str, Any]:
    """Arguments of `subprocess.Popen` for a process that its parent's end and Ctrl+C do not reach.

    POSIX: a session of its own (setsid(2)). Windows: without a console, in a group of its own.
    """
    if sys.platform == "win32":
        return {"creationflags": subprocess.DETACHED_PROCESS | subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}


def end_process(pid: int) -> None:
    """End it at once, whatever it does. OSError where it is gone or another user's.

    Windows: TerminateProcess, which `os.kill` does for every signal but those of the console.
    """
    if sys.platform == "win32":
        os.kill(pid, signal.SIGTERM)
    else:
        os.kill(pid, signal.SIGKILL)


def leave_no_zombies() -> None:
    """Children that end need nobody to ask for their status (signal(7): SIGCHLD ignored)."""
    if sys.platform != "win32":
        signal.signal(signal.SIGCHLD, signal.SIG_IGN)


def be_nicer(by: int) -> None:
    """Let others go first; without effect on Windows."""
    if sys.platform != "win32":
        os.nice(by)


def usable_cores() -> int:
    """How many cores this process may use."""
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def can_fork() -> bool:
    """A fork takes no time, but is safe with one thread only, and on Linux alone."""
    return sys.platform == "linux" and threading.active_count() == 1


def keep_freed_memory() -> None:
    """Let freed memory stay with this process and its children, up to `_KEPT_BYTES`.

    A watch frees and asks for some megabytes each tick, and the system clears each page that it
    hands out anew: 3 % of a scan. glibc alone (mallopt(3)); what asks for a lot at once still gets
    memory of its own.
    """
    if _MALLOPT is not None:
        _MALLOPT(_M_TRIM_THRESHOLD, _KEPT_BYTES)
        _MALLOPT(_M_MMAP_THRESHOLD, _OWN_BYTES)


_MALLOPT: Final = (
    getattr(ctypes.CDLL(None), "mallopt", None) if sys.platform.startswith("linux") else None
)
_M_TRIM_THRESHOLD: Final = -1
_M_MMAP_THRESHOLD: Final = -3
_KEPT_BYTES: Final = 64 << 20
_OWN_BYTES: Final = 32 << 20
"""The most to which glibc raises that by itself."""


# ---- files and sockets ---------------------------------------------------------------------------


def lock_file(file: IO[bytes]) -> None:
    """Lock an open file until it is closed; OSError where another process has."""
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def runtime_user() -> int | None:
    """The number of this user where the runtime directory is found by it (Linux), else None."""
    if sys.platform == "linux":
        return os.getuid()
    return None


def is_private(status: os.stat_result) -> bool:
    """Only this user can enter or read it; on Windows a user's own folders are."""
    if sys.platform == "win32":
        return True
    return status.st_uid == os.getuid() and not status.st_mode & 0o077


SOCKET_FAMILY: Final = "AF_PIPE" if sys.platform == "win32" else "AF_UNIX"
"""Of `multiprocessing.connection`, for local connections that are no network."""

PIPE_PREFIX: Final = r"\\.\pipe\trackwarden" if sys.platform == "win32" else ""
"""Where local connections are named rather than files (CreateNamedPipe); else empty."""


def make_private(path: str) -> None:
    """A socket is its owner's alone; a pipe of Windows is by its default rights."""
    if sys.platform != "win32":
        os.chmod(path, 0o600)


def shut_down(handle: int) -> None:
    """End a local connection at both ends, for threads that wait on it too; OSError if it is gone.

    Windows: closing the handle does that.
    """
    if sys.platform != "win32":
        with socket.socket(fileno=os.dup(handle)) as end:
            end.shutdown(socket.SHUT_RDWR)


# ---- clocks --------------------------------------------------------------------------------------


def suspended_s() -> float:
    """Seconds that the computer has spent asleep since it was started; grows by each sleep.

    Linux: CLOCK_BOOTTIME counts them, CLOCK_MONOTONIC does not (clock_gettime(2)). macOS:
    CLOCK_MONOTONIC_RAW counts them, CLOCK_UPTIME_RAW does not (clock_gettime(3)). Windows: 0, for
    there Python's steady clock counts them itself (GetTickCount64), and a sleep is lost audio.
    """
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC)
    if sys.platform == "darwin":
        counting = time.clock_gettime(time.CLOCK_MONOTONIC_RAW)
        return counting - time.clock_gettime(time.CLOCK_UPTIME_RAW)
    return 0.0

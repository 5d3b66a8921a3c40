"""What differs by system: the time that the computer slept, processes of their own, rights."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from engine.system import platform_calls
from engine.system.platform_calls import suspended_s


@pytest.mark.skipif(sys.platform != "linux", reason="clocks of Linux")
def test_sleep_is_the_difference_of_the_two_clocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """CLOCK_BOOTTIME counts a sleep and CLOCK_MONOTONIC does not (clock_gettime(2))."""
    clocks = {time.CLOCK_BOOTTIME: 500.0, time.CLOCK_MONOTONIC: 380.0}
    monkeypatch.setattr(time, "clock_gettime", clocks.__getitem__)
    assert suspended_s() == 120.0


def test_it_does_not_grow_while_the_computer_is_awake() -> None:
    """Two readings in a row are equal to a few milliseconds."""
    assert suspended_s() == pytest.approx(suspended_s(), abs=0.1)


def test_an_outliving_process_has_a_session_of_its_own() -> None:
    """Neither Ctrl+C nor a closed terminal of ours reaches it (setsid(2)); it can be ended."""
    if sys.platform == "win32":
        pytest.skip("sessions of POSIX")
    with subprocess.Popen(
        [sys.executable, "-c", "import time; time.sleep(600)"], **platform_calls.outliving()
    ) as process:
        assert os.getsid(process.pid) == process.pid != os.getsid(0)
        platform_calls.end_process(process.pid)
        assert process.wait(30) != 0
    with pytest.raises(ProcessLookupError):
        platform_calls.end_process(process.pid)


def test_what_others_can_enter_is_not_private(tmp_path: Path) -> None:
    """Its owner alone may read, write or enter."""
    if sys.platform == "win32":
        pytest.skip("rights of POSIX")
    for mode, private in ((0o700, True), (0o600, True), (0o750, False), (0o701, False)):
        tmp_path.chmod(mode)
        assert platform_calls.is_private(tmp_path.stat()) == private
    tmp_path.chmod(0o700)


def test_a_thread_that_waits_on_a_connection_sees_its_end() -> None:
    """Both ends do, at once."""
    if sys.platform == "win32":
        pytest.skip("there the handle is closed instead")
    one, other = socket.socketpair()
    platform_calls.shut_down(one.fileno())
    assert other.recv(1) == b""
    assert one.recv(1) == b""
    one.close()
    other.close()


def test_there_is_a_core_and_a_family() -> None:
    """Local connections are sockets in the file system, or pipes on Windows."""
    assert 1 <= platform_calls.usable_cores() <= (os.cpu_count() or 1)
    assert (platform_calls.SOCKET_FAMILY == "AF_PIPE") == bool(platform_calls.PIPE_PREFIX)


@pytest.mark.skipif(sys.platform != "linux", reason="mallopt(3) of glibc")
def test_freed_memory_is_not_asked_for_again() -> None:
    """What a process frees and asks for anew, tick by tick, is cleared by the system but once."""
    work = (
        "import resource, numpy as np, sys\n"
        "from engine.system.platform_calls import keep_freed_memory\n"
        "if sys.argv[1] == 'keep': keep_freed_memory()\n"
        "def tick(): return [np.ones(1 << 18) for _ in range(8)] and None\n"
        "for _ in range(3): tick()\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt\n"
        "for _ in range(20): tick()\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)\n"
    )
    asked = {
        how: int(subprocess.run([sys.executable, "-c", work, how], capture_output=True).stdout)
        for how in ("keep", "leave")
    }
    assert 20 * asked["keep"] < asked["leave"], asked

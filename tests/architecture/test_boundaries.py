"""What may import what: the arrows between the parts of the program."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

from tests.support.checkout import ROOT

ENGINE = sorted((ROOT / "engine").rglob("*.py"))

NO_QT = """
import importlib, pkgutil, sys

class NoQt:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {"PySide6", "shiboken6", "pyqtgraph", "PyQt5", "PyQt6", "app"}:
            raise ImportError(name + " is not for the engine")

sys.meta_path.insert(0, NoQt())
import engine
for module in pkgutil.walk_packages(engine.__path__, "engine."):
    importlib.import_module(module.name)
"""


def name_of(path: Path) -> str:
    """The module's dotted name."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def imports(path: Path) -> set[str]:
    """Dotted names a file imports, inside functions too."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_the_engine_runs_without_qt() -> None:
    """All of the engine can be imported where there is neither Qt nor app."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", NO_QT],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_the_engine_knows_neither_window_nor_tests() -> None:
    """The engine imports nothing of app and nothing of the tests."""
    wrong = [
        f"{name_of(path)} imports {name}"
        for path in ENGINE
        for name in sorted(imports(path))
        if name.split(".")[0] in {"app", "tests"}
    ]
    assert not wrong


def test_alarms_know_no_detector() -> None:
    """Alarms read conditions and the table of faults; which detector spoke is nothing to them."""
    wrong = {
        name
        for path in ENGINE
        if path.is_relative_to(ROOT / "engine/alarms")
        for name in imports(path)
        if name.startswith("engine.detectors")
    }
    assert not wrong


def test_a_detector_knows_no_registry() -> None:
    """No detector imports the registry that it stands in; only the banks do."""
    for path in (ROOT / "engine/detectors").glob("*.py"):
        if path.stem not in {"registry", "bank", "sample_bank"}:
            assert not any(n.startswith("engine.detectors.registry") for n in imports(path)), path


def test_only_the_edges_read_a_clock() -> None:
    """Time is passed in: what judges sound never imports a clock."""
    pure = ("model", "measure", "detectors", "alarms", "inject", "timecode")
    for path in ENGINE:
        parts = path.relative_to(ROOT / "engine").parts
        if parts[0] in pure or path.stem in ("pipeline", "framing", "level_strip", "scan"):
            names = {name.split(".")[0] for name in imports(path)}
            assert not names & {"time", "datetime", "threading", "random"}, name_of(path)


def test_a_watch_loads_no_scipy() -> None:
    """Its import takes longer than all the rest of the engine's start."""
    code = (
        "import sys, engine.runtime.runner, engine.pipeline.scan; sys.exit('scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_sql_stands_in_the_session_package_alone() -> None:
    """No statement of SQL, and no import of its library, outside engine/session."""
    statement = re.compile(r"\b(SELECT|INSERT INTO|UPDATE|DELETE FROM|CREATE TABLE|PRAGMA) ")
    wrong = set()
    for path in (*ENGINE, *sorted((ROOT / "app").rglob("*.py"))):
        if path.is_relative_to(ROOT / "engine/session"):
            continue
        if "sqlite3" in imports(path):
            wrong.add(f"{name_of(path)} imports sqlite3")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            text = node.value if isinstance(node, ast.Constant) else None
            if isinstance(text, str) and statement.search(text):
                wrong.add(f"{name_of(path)} holds SQL")
    assert not wrong


PLATFORM_CALLS = ROOT / "engine/system/platform_calls.py"
ONE_SYSTEM_MODULES = frozenset(
    "fcntl grp msvcrt nt posix pty pwd resource syslog termios tty winreg _winapi".split()  # noqa: SIM905
)
ONE_SYSTEM_NAMES = {
    "os": "chown fchmod fchown fork forkpty getegid geteuid getgid getgroups getloadavg getpgid "
    "getpgrp getpriority getresuid getsid getuid initgroups kill killpg lchown mkfifo mknod nice "
    "openpty pipe2 posix_spawn pread preadv pwrite sched_getaffinity sched_setaffinity setgid "
    "setpgid setpriority setsid setuid startfile statvfs sync sysconf tcgetpgrp ttyname uname "
    "wait wait3 wait4 waitid WNOHANG",
    "signal": "SIGALRM SIGCHLD SIGCONT SIGHUP SIGKILL SIGPIPE SIGQUIT SIGSTOP SIGUSR1 SIGUSR2 "
    "alarm pause pthread_kill pthread_sigmask setitimer sigpending sigwait siginterrupt",
    "socket": "AF_UNIX send_fds recv_fds fromfd",
    "time": "clock_gettime clock_settime pthread_getcpuclockid tzset CLOCK_BOOTTIME "
    "CLOCK_MONOTONIC CLOCK_MONOTONIC_RAW CLOCK_UPTIME_RAW",
    "subprocess": "DETACHED_PROCESS CREATE_NEW_PROCESS_GROUP CREATE_NO_WINDOW STARTUPINFO",
}
"""Not on Windows, by "Availability" in the library reference of Python 3.11; or only there."""
ONE_SYSTEM_ARGUMENTS = {"start_new_session", "creationflags", "preexec_fn", "process_group"}


def of_one_system(node: ast.AST, names: set[tuple[str, ...]]) -> bool:
    """Whether that piece of code asks for what one system has."""
    match node:
        case ast.Attribute(value=ast.Name(id=owner), attr=name):
            return (owner, name) in names
        case ast.keyword(arg=name):
            return name in ONE_SYSTEM_ARGUMENTS
        case ast.Import():
            return any(alias.name in ONE_SYSTEM_MODULES for alias in node.names)
        case ast.ImportFrom(module=module):
            of_names = any((module, alias.name) in names for alias in node.names)
            return module in ONE_SYSTEM_MODULES or of_names
    return False


def test_calls_of_one_system_stand_in_one_module() -> None:
    """What Windows, macOS or Linux lacks is called in one place, with its equivalents.

    `app/setup` stands outside: it installs packages of Debian on a machine with nothing on it.
    """
    names: set[tuple[str, ...]] = {
        (owner, name) for owner, text in ONE_SYSTEM_NAMES.items() for name in text.split()
    }
    code = [p for folder in ("app", "demo_audio") for p in sorted((ROOT / folder).rglob("*.py"))]
    wrong = [
        f"{name_of(path)}: {ast.unparse(node)[:60]}"
        for path in (*ENGINE, *code)
        if path != PLATFORM_CALLS and not path.is_relative_to(ROOT / "app/setup")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if of_one_system(node, names)
    ]
    assert not wrong

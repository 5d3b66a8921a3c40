"""Set-up on a bare machine: a private `.venv` in the checkout with the project and its pins in it.

Standard library alone. The `.venv` keeps a stamp: a hash of all that it was made from, written
last. While it is being changed the stamp reads "unfinished", so a set-up that was interrupted is
made anew; a second run only compares the hash.
"""

import hashlib
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

OLDEST_PYTHON = (3, 11)
if sys.version_info < OLDEST_PYTHON:  # the one place that an older Python gets to
    sys.exit(
        f"trackwarden needs Python 3.11 or later; this is {sys.version.split()[0]} "
        f"({sys.executable}). Run the same command with a newer python3."
    )

from app.setup import system_packages as system  # noqa: E402 - an older Python must be told first

ROOT = Path(__file__).resolve().parents[2]
CONSTRAINTS = Path("app") / "setup" / "constraints.txt"
UNFINISHED = "unfinished"
QUICK = ("--disable-pip-version-check", "--no-input", "--progress-bar", "off")


class SetUpError(Exception):
    """Set-up cannot go on; the message says what to do."""


def say(text: str) -> None:
    """One progress line, on standard error: standard output is for results."""
    print(f"set-up: {text}", file=sys.stderr, flush=True)


def venv_python(root: Path) -> Path:
    """Where the interpreter of the checkout's `.venv` is or will be."""
    return root / ".venv" / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def fingerprint(root: Path, extra: str) -> str:
    """Hash of all that decides what must be in the `.venv`."""
    parts = [f"{sys.implementation.name} {sys.version_info[:2]} {sys.maxsize} {root} {extra}"]
    parts += [(root / name).read_text("utf-8") for name in ("pyproject.toml", CONSTRAINTS)]
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def stamp(root: Path) -> str:
    """What the `.venv` says of itself: a fingerprint, UNFINISHED, or "" where it says nothing."""
    try:
        return (root / ".venv" / "set-up-stamp").read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def _write_stamp(root: Path, text: str) -> None:
    (root / ".venv" / "set-up-stamp").write_text(text + "\n", "utf-8")


def is_ready(root: Path, extras: Iterable[str]) -> bool:
    """True where the `.venv` was made from just these files, with any one of those extras."""
    return venv_python(root).exists() and stamp(root) in {fingerprint(root, e) for e in extras}


def is_usable(root: Path) -> bool:
    """True where the `.venv` is whole, of this very Python version, and has pip."""
    if stamp(root) == UNFINISHED or not venv_python(root).exists():
        return False
    probe = f"import pip, sys; sys.exit(sys.version_info[:2] != {tuple(sys.version_info[:2])})"
    command = [str(venv_python(root)), "-c", probe]
    try:
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def _run(command: Sequence[str], doing: str) -> None:
    """Run one step; echo which package is being fetched; SetUpError with its last lines."""
    messages: list[str] = []
    with subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
    ) as process:
        for line in process.stdout or ():
            messages.append(line.rstrip())
            if line.startswith("Collecting "):
                say("  fetching " + re.split(r"[^\w.-]", line.removeprefix("Collecting "))[0])
            elif line.startswith("Installing collected packages: "):
                say("  installing " + line.partition(": ")[2].strip())
    if process.returncode:
        last = "\n".join(messages[-6:])
        raise SetUpError(
            f"{doing} failed:\n{last}\nIs there a network? Then run the same command again."
        )


def make_venv(root: Path) -> None:
    """An empty `.venv` with pip in it, marked unfinished, in place of whatever was there."""
    folder = root / ".venv"
    if folder.is_symlink() or folder.is_file():
        folder.unlink()
    shutil.rmtree(folder, ignore_errors=True)
    _run([sys.executable, "-m", "venv", "--without-pip", str(folder)], "making .venv")
    _write_stamp(root, UNFINISHED)
    _run([str(venv_python(root)), "-m", "ensurepip", "--default-pip"], "putting pip into .venv")


def fill_venv(root: Path, extra: str) -> None:
    """The pinned packages and the project itself into the `.venv`, then its stamp."""
    _write_stamp(root, UNFINISHED)
    pip = [str(venv_python(root)), "-m", "pip", "install", *QUICK]
    pip += ["-c", str(root / CONSTRAINTS)]
    # The build backend first and without isolation, so that it too is the pinned one.
    _run([*pip, "setuptools"], "installing setuptools")
    project = f"{root}[{extra}]" if extra else str(root)
    _run([*pip, "--no-build-isolation", "--editable", project], "installing the packages")
    _write_stamp(root, fingerprint(root, extra))


def get_system_packages(
    purposes: Iterable[str], machine: system.Machine, can_do_without: Iterable[str] = ()
) -> None:
    """Install what the system lacks, as root on Debian; else say what to paste.

    Raises
    ------
    SetUpError
        Where something stays missing that is not only for purposes one can do without.
    """
    needs = system.missing(purposes, machine)
    answer = ""
    if needs and machine.debian and machine.root:
        say("installing system packages: " + " ".join(need.package for need in needs))
        answer = system.install(needs)
        needs = system.missing(purposes, machine)
    if not needs:
        return
    message = f"{answer}\n{system.how_to_get(needs, machine)}".strip()
    if {need.purpose for need in needs} - set(can_do_without):
        raise SetUpError(message)
    say(f"{message}\nset-up: going on without")


def prepare(
    root: Path,
    purposes: Iterable[str],
    extra: str,
    machine: system.Machine,
    can_do_without: Iterable[str] = (),
) -> Path:
    """Set up all that is missing; returns the interpreter to go on with.

    Raises
    ------
    SetUpError
        With one message that says what to do.
    """
    # The tests' packages hold the program's too: whoever has them need not install again.
    ready = is_ready(root, {extra, "test"})
    usable = ready or is_usable(root)
    wanted = (*purposes, *(() if usable else (system.PYTHON,)))
    get_system_packages(wanted, machine, can_do_without)
    if not usable:
        say("making a Python environment of its own in .venv")
        make_venv(root)
    if not ready:
        say("installing the packages (about 150 MB the first time)")
        fill_venv(root, extra)
        say("ready")
    return venv_python(root)


def run_prepared(work: Callable[[], int]) -> int:
    """Run `work`; a set-up that cannot go on is one message and exit status 2."""
    try:
        return work()
    except SetUpError as error:
        print(f"set-up: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("set-up: stopped; the same command goes on", file=sys.stderr)
        return 130

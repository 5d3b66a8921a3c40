"""What the program needs from the operating system, which of it is missing, and how to get it.

One table, NEEDS. Only Linux needs any of it: on macOS and Windows the Python packages carry their
libraries with them. Standard library alone, as it runs before anything is installed.
"""

from __future__ import annotations

import ctypes
import glob
import importlib.util
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

PYTHON, SOUND, WINDOW, TESTS = "python", "sound", "window", "tests"


@dataclass(frozen=True)
class Need:
    """One thing needed for `purpose`; `package` is its name on Debian and Ubuntu.

    Present when the library loads, the program is on the PATH or a file matches, whichever is
    named first: a glob holds a `*`, a library `.so`.
    """

    purpose: str
    package: str
    proof: str


NEEDS: tuple[Need, ...] = (
    Need(PYTHON, f"python3.{sys.version_info[1]}-venv", "module ensurepip"),
    Need(SOUND, "libportaudio2", "libportaudio.so.2"),
    # Tells when a sound server has moved the stream to another source.
    Need(SOUND, "pulseaudio-utils", "pactl"),
    # What Qt's libraries and its X11 platform plugin link to (ldd on the wheel's libqxcb.so).
    Need(WINDOW, "libegl1", "libEGL.so.1"),
    Need(WINDOW, "libgl1", "libGL.so.1"),
    Need(WINDOW, "libglib2.0-0", "libgthread-2.0.so.0"),
    Need(WINDOW, "libdbus-1-3", "libdbus-1.so.3"),
    Need(WINDOW, "libfontconfig1", "libfontconfig.so.1"),
    Need(WINDOW, "libx11-xcb1", "libX11-xcb.so.1"),
    Need(WINDOW, "libxkbcommon0", "libxkbcommon.so.0"),
    Need(WINDOW, "libxkbcommon-x11-0", "libxkbcommon-x11.so.0"),
    Need(WINDOW, "libxcb-cursor0", "libxcb-cursor.so.0"),
    Need(WINDOW, "libxcb-icccm4", "libxcb-icccm.so.4"),
    Need(WINDOW, "libxcb-image0", "libxcb-image.so.0"),
    Need(WINDOW, "libxcb-keysyms1", "libxcb-keysyms.so.1"),
    Need(WINDOW, "libxcb-randr0", "libxcb-randr.so.0"),
    Need(WINDOW, "libxcb-render-util0", "libxcb-render-util.so.0"),
    Need(WINDOW, "libxcb-shape0", "libxcb-shape.so.0"),
    Need(WINDOW, "libxcb-shm0", "libxcb-shm.so.0"),
    Need(WINDOW, "libxcb-sync1", "libxcb-sync.so.1"),
    Need(WINDOW, "libxcb-util1", "libxcb-util.so.1"),
    Need(WINDOW, "libxcb-xfixes0", "libxcb-xfixes.so.0"),
    Need(WINDOW, "libxcb-xkb1", "libxcb-xkb.so.1"),
    Need(WINDOW, "fonts-dejavu-core", "/usr/share/fonts/**/*.[ot]tf"),
    # The tests: a display, a sound server with an input, and libraries to compare with.
    Need(TESTS, "xvfb", "Xvfb"),
    Need(TESTS, "pulseaudio", "pulseaudio"),
    Need(TESTS, "libasound2-plugins", "/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so"),
    Need(TESTS, "alsa-utils", "aplay"),
    Need(TESTS, "libebur128-1", "libebur128.so.1"),
    Need(TESTS, "libltc11", "libltc.so.11"),
    Need(TESTS, "ffmpeg", "ffmpeg"),
    Need(TESTS, "sox", "sox"),
    Need(TESTS, "flac", "flac"),
    Need(TESTS, "dunst", "dunst"),
    Need(TESTS, "dbus-daemon", "dbus-daemon"),
    Need(TESTS, "chromium", "chromium"),
    Need(TESTS, "chromium-driver", "chromedriver"),
    Need(TESTS, "mosquitto", "mosquitto"),
    Need(TESTS, "poppler-utils", "pdftotext"),
)


@dataclass(frozen=True)
class Machine:
    """What decides which packages are wanted and how they can be had."""

    linux: bool
    debian: bool
    root: bool
    display: bool

    @classmethod
    def here(cls) -> Machine:
        """This machine."""
        linux = sys.platform == "linux"
        release = Path("/etc/os-release")
        text = release.read_text(errors="replace") if linux and release.exists() else ""
        return cls(
            linux=linux,
            debian=is_debian(text) and shutil.which("apt-get") is not None,
            root=sys.platform == "linux" and os.geteuid() == 0,
            display=bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")),
        )


def is_debian(os_release: str) -> bool:
    """True for Debian, Ubuntu and what says in its os-release that it is like one of them."""
    pairs = (line.partition("=") for line in os_release.splitlines())
    named = {key: value.strip("\"'").split() for key, _, value in pairs}
    return bool({"debian", "ubuntu"} & {*named.get("ID", ()), *named.get("ID_LIKE", ())})


def is_there(proof: str) -> bool:
    """True where the thing that `proof` names can really be used, whoever installed it."""
    if proof.startswith("module "):
        importlib.invalidate_caches()
        return importlib.util.find_spec(proof.removeprefix("module ")) is not None
    if "*" in proof:
        return next(glob.iglob(proof, recursive=True), None) is not None
    if ".so" not in proof:
        return shutil.which(proof) is not None
    try:
        ctypes.CDLL(proof)
    except OSError:
        return False
    return True


def missing(
    purposes: Iterable[str], machine: Machine, there: Callable[[str], bool] = is_there
) -> tuple[Need, ...]:
    """The rows of NEEDS for those purposes that are not there; none but on Linux."""
    if not machine.linux:
        return ()
    wanted = set(purposes)
    return tuple(need for need in NEEDS if need.purpose in wanted and not there(need.proof))


def _apt_install(packages: Sequence[str]) -> list[str]:
    return ["apt-get", "install", "-y", "--no-install-recommends", *packages]


def how_to_get(needs: Sequence[Need], machine: Machine) -> str:
    """What to tell someone who is not root: the one command to paste, or what is missing."""
    if machine.debian:
        install = " ".join(_apt_install([need.package for need in needs]))
        return (
            f"system packages missing: {len(needs)}. Paste this, then run the same command "
            f"again:\n\n    sudo apt-get update && sudo {install}\n"
        )
    proofs = ", ".join(need.proof for need in needs)
    return (
        f"missing on this system: {proofs}. Install them with its package manager "
        "(the names differ from one to another), then run the same command again."
    )


def install(
    needs: Sequence[Need], run: Callable[..., subprocess.CompletedProcess[str]] = subprocess.run
) -> str:
    """Install the packages of `needs` with apt, as root; returns "" or what apt said last.

    The lists are fetched first, as a bare machine has none and old ones name files that are gone;
    without a network the attempt is still made, from what apt has.
    """
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    wait = ["-o", "DPkg::Lock::Timeout=120"]
    done = None
    for command in (["apt-get", "update"], _apt_install([need.package for need in needs])):
        done = run(
            [command[0], *wait, *command[1:]],
            env=env,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
        )
    if done is None or done.returncode == 0:
        return ""
    return "\n".join(done.stdout.strip().splitlines()[-3:])

"""Whether every pinned dependency has a wheel for Windows and macOS: asks the registry.

    python -m tests.benchmarks.wheels [--python 3.11]

For each pin of `app/setup/constraints.txt` one question of PyPI's index in JSON (PyPA, "Simple
repository API"), and a look at the systems on which its marker holds. A wheel fits where one of
its tags is among those that pip would take there (PyPA, "Platform compatibility tags"). Exits 1
where one is missing: nothing is built from source on a crew's laptop. Needs the network.
"""

from __future__ import annotations

import argparse
import json
import sys
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from packaging import tags
from packaging.requirements import Requirement
from packaging.utils import InvalidWheelFilename, parse_wheel_filename

from tests.support.checkout import ROOT

PINS: Final = ROOT / "app/setup/constraints.txt"
ASK: Final = "https://pypi.org/simple/{name}/"
ACCEPT: Final = "application/vnd.pypi.simple.v1+json"


@dataclass(frozen=True, slots=True, eq=False)
class System:
    """One system: its name, what pins' markers see there, and its platforms, the best first."""

    name: str
    markers: Mapping[str, str]
    platforms: tuple[str, ...]


@cache
def systems() -> tuple[System, ...]:
    """Windows and macOS, each on both of its processors; macOS from 13 on."""
    windows = {"sys_platform": "win32", "platform_system": "Windows", "os_name": "nt"}
    mac = {"sys_platform": "darwin", "platform_system": "Darwin", "os_name": "posix"}
    return (
        System("Windows x64", windows | {"platform_machine": "AMD64"}, ("win_amd64",)),
        System("Windows ARM", windows | {"platform_machine": "ARM64"}, ("win_arm64",)),
        System(
            "macOS Intel",
            mac | {"platform_machine": "x86_64"},
            tuple(tags.mac_platforms((13, 0), "x86_64")),
        ),
        System(
            "macOS ARM",
            mac | {"platform_machine": "arm64"},
            tuple(tags.mac_platforms((13, 0), "arm64")),
        ),
    )


@cache
def accepted(system: System, version: tuple[int, int]) -> frozenset[tags.Tag]:
    """Every tag that pip takes there for that version of CPython."""
    cpython = tags.cpython_tags(version, platforms=system.platforms)
    interpreter = f"cp{version[0]}{version[1]}"
    pure = tags.compatible_tags(version, interpreter, system.platforms)
    return frozenset([*cpython, *pure])


def fits(file: str, pin: Requirement, wanted: frozenset[tags.Tag]) -> bool:
    """Whether that file is a wheel of the pinned version with one of the tags."""
    try:
        _, version, _, has = parse_wheel_filename(file)
    except InvalidWheelFilename:
        return False
    return version in pin.specifier and bool(has & wanted)


def pins() -> Iterator[Requirement]:
    """The pinned dependencies with their markers."""
    for line in PINS.read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            yield Requirement(line)


def files_of(pin: Requirement) -> list[str]:
    """The names of the files that the registry has of it; OSError where it does not answer."""
    request = urllib.request.Request(ASK.format(name=pin.name), headers={"Accept": ACCEPT})
    with urllib.request.urlopen(request, timeout=30) as answer:
        return [file["filename"] for file in json.load(answer)["files"]]


def missing(
    pin: Requirement, files: Sequence[str], on: Sequence[System], version: tuple[int, int]
) -> list[str]:
    """The systems that need the pin and find no wheel of it among those files."""
    environment = {"python_version": "{}.{}".format(*version)}
    return [
        system.name
        for system in on
        if (pin.marker is None or pin.marker.evaluate({**system.markers, **environment}))
        and not any(fits(file, pin, accepted(system, version)) for file in files)
    ]


def main() -> int:
    """Ask for each pin, and print what is missing."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--python", default="3.11")
    major, _, minor = parser.parse_args().python.partition(".")
    version = int(major), int(minor)
    asked, lacking = 0, 0
    for pin in pins():
        try:
            found = missing(pin, files_of(pin), systems(), version)
        except OSError as error:
            sys.exit(f"{pin.name}: the registry does not answer: {error}")
        asked += 1
        lacking += bool(found)
        if found:
            print(f"{pin.name} {pin.specifier}: no wheel for {', '.join(found)}", flush=True)
    print(f"CPython {major}.{minor}: {asked} pins asked for, {lacking} lack a wheel somewhere")
    return int(lacking > 0)


if __name__ == "__main__":
    sys.exit(main())

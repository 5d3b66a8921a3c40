"""Checksums of a card's files, and whether a copy has the same.

The manifest is the payload manifest of RFC 8493 (BagIt): one line a file, its SHA-256 in
hexadecimal, two spaces, its path below the folder; `sha256sum --check` reads it as well.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from engine.verify.result import Difference, Finding

_PIECE: Final = 1 << 20

Progress = Callable[[str], None]


def checksums(folder: Path, progress: Progress | None = None) -> dict[str, str]:
    """SHA-256 of every file below that folder, by its path with forward slashes.

    Raises
    ------
    OSError
        Where a file can't be read.
    """
    sums = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        name = path.relative_to(folder).as_posix()
        if progress is not None:
            progress(name)
        digest = hashlib.sha256()
        with path.open("rb") as file:
            while piece := file.read(_PIECE):
                digest.update(piece)
        sums[name] = digest.hexdigest()
    return sums


def written(sums: Mapping[str, str]) -> str:
    """The manifest's text."""
    return "".join(f"{digest}  {_encoded(name)}\n" for name, digest in sorted(sums.items()))


def read(text: str) -> dict[str, str]:
    """A manifest's checksums by path.

    Raises
    ------
    ValueError
        Where a line is none of a manifest's.
    """
    sums = {}
    for number, line in enumerate(text.splitlines(), start=1):
        digest, _, name = line.partition(" ")
        name = name.lstrip(" *")
        if len(digest) != 64 or not name or set(digest.lower()) - set("0123456789abcdef"):
            raise ValueError(f"line {number} is no line of a SHA-256 manifest")
        sums[_decoded(name)] = digest.lower()
    return sums


def differences(ours: Mapping[str, str], theirs: Mapping[str, str], copy: str) -> list[Finding]:
    """Findings of a copy that is named `copy` against the original."""
    findings = [
        Finding(Difference.COPY, f"{name}: missing in {copy}")
        for name in sorted(ours.keys() - theirs.keys())
    ]
    findings += [
        Finding(Difference.COPY, f"{name}: differs in {copy}")
        for name in sorted(ours.keys() & theirs.keys())
        if ours[name] != theirs[name]
    ]
    return findings


def _encoded(name: str) -> str:
    return name.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def _decoded(name: str) -> str:
    return name.replace("%0D", "\r").replace("%0A", "\n").replace("%25", "%")

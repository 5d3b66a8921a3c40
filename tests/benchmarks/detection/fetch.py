"""Fetch the benchmark's recordings: packages from the registries, then 48 kHz arrays beside them.

    python -m tests.benchmarks.detection fetch

Needs apt-get and dpkg-deb (Debian or Ubuntu) and pip; about 480 MB are downloaded once.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

from tests.support.checkout import ROOT

HERE: Final = Path(__file__).resolve().parent
CACHE: Final = ROOT / ".artefacts" / "recordings"
RATE: Final = 48000
LEAST_RATE: Final = 32000
LONGEST_S: Final = {"voice": 300.0, "place": 120.0, "impact": 60.0, "music": 120.0}
PILED: Final = 0.3
CREST_DB: Final = 9.0
"""A voice whose peak stands less than this over its louder half had its peaks taken: speech has
some 12 dB (common practice, no source); clips whose tops are square to the eye have 4 to 9."""
VOICE_DBFS: Final = -26.0
"""AES17 RMS of a voice while it speaks; other roles are brought to the same mean level."""

Audio = NDArray[np.float32]


def main() -> int:
    """Fetch and prepare all that is missing; 0 when everything is there."""
    table = tomllib.loads((HERE / "sources.toml").read_text(encoding="utf-8"))
    CACHE.mkdir(parents=True, exist_ok=True)
    for name, package in table["package"].items():
        unpack(name, package)
    index = [prepare(recording) for recording in table["recording"]]
    (CACHE / "index.json").write_text(json.dumps(index, indent=1), encoding="utf-8")
    for row in index:
        print(f"{row['set']:8} {row['role']:7} {row['name']:12} {row['seconds']:6.0f} s")
    return 0


def unpack(name: str, package: dict[str, str]) -> None:
    """The package's files under CACHE/packages/name, unless they are there."""
    target = CACHE / "packages" / name
    if target.exists():
        return
    print(f"fetching {name} ({package['licence']})", flush=True)
    download = CACHE / "download"
    download.mkdir(exist_ok=True)
    half = CACHE / "half"  # what an interrupted run leaves here is not taken for the whole
    shutil.rmtree(half, ignore_errors=True)
    target.parent.mkdir(exist_ok=True)
    if package["registry"] == "debian":
        command = ["apt-get", "download", "-o", "APT::Sandbox::User=root", name]
        subprocess.run(command, cwd=download, check=True, stdout=subprocess.DEVNULL)
        archive = next(download.glob(f"{name}_*.deb"))
        subprocess.run(["dpkg-deb", "-x", str(archive), str(half)], check=True)
    else:
        pinned = f"{name}=={package['version']}"
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", pinned]
        subprocess.run(command, cwd=download, check=True)
        archive = next(download.glob(f"{name}-*.whl"))
        zipfile.ZipFile(archive).extractall(half)
    half.rename(target)
    archive.unlink()


def prepare(recording: dict[str, Any]) -> dict[str, Any]:
    """One recording as CACHE/set-role-name.npy, float32 mono at 48 kHz, and its index entry."""
    role = recording["role"]
    longest_s = float(recording.get("until_s", LONGEST_S[role]))
    clips: list[Audio] = []
    seconds = 0.0
    for path in files(recording):
        if seconds >= longest_s:
            break
        clip = read(path, longest_s, strict=role == "voice")
        clip = WITHOUT_HUM.get(role, _as_it_is)(clip) if clip is not None else None
        clip = spoken(clip) if role == "voice" and clip is not None else clip
        if clip is not None:
            clips.append(levelled(clip))
            seconds += len(clip) / RATE
    if not clips:
        raise SystemExit(
            f"no usable file for {recording['name']}: does {recording['match']} match?"
        )
    name = "-".join((recording["set"], role, recording["name"])) + ".npy"
    np.save(CACHE / name, np.concatenate(clips))
    ends = np.cumsum([len(clip) for clip in clips]).tolist()
    return recording | {"file": name, "seconds": seconds, "ends": ends}


def files(recording: dict[str, Any]) -> Iterator[Path]:
    """The files of a recording in a fixed, mixed order."""
    root = CACHE / "packages" / recording["package"]
    pattern = recording["match"]
    paths = sorted(p for p in root.rglob("*") if p.is_file() and p.match(pattern))
    order = np.random.default_rng(0).permutation(len(paths))
    return (paths[n] for n in order)


def read(path: Path, longest_s: float, strict: bool) -> Audio | None:
    """Mono at 48 kHz; None where the file is too narrow, too short or (strict) overloaded."""
    with soundfile.SoundFile(path) as file:
        if file.samplerate < LEAST_RATE:
            return None
        rate = file.samplerate
        samples = file.read(int(longest_s * rate), dtype="float32", always_2d=True)
    mono = samples.mean(axis=1)
    if len(mono) < 0.4 * rate or (strict and overloaded(mono)):
        return None
    ratio = Fraction(RATE, rate)
    return np.asarray(
        signal.resample_poly(mono, ratio.numerator, ratio.denominator), dtype=np.float32
    )


def overloaded(mono: Audio) -> bool:
    """The recording itself was cut off: it can't stand for healthy sound.

    Flat tops, or (where a codec has bent them since) peaks that pile up under one ceiling: the
    idea of Eaton and Naylor, EUSIPCO 2013; bounds: set by ear and eye on these recordings.
    """
    peak = float(np.abs(mono).max())
    if peak > 0.999:
        return True
    top = np.abs(mono[1:]) > 0.9 * peak
    still = np.abs(np.diff(mono)) < 1e-4 * peak
    flat = bool(np.any((top & still)[1:] & (top & still)[:-1]))
    return flat or max(piled(mono), piled(-mono)) > PILED


def piled(mono: Audio) -> float:
    """Of the peaks of each 10 ms or less in the upper half of the range, the share in the top."""
    hop = LEAST_RATE // 100
    peaks = mono[: len(mono) // hop * hop].reshape(-1, hop).max(axis=1)
    return float(np.sum(peaks > 0.9 * peaks.max()) / max(1, np.sum(peaks > 0.5 * peaks.max())))


def spoken(clip: Audio) -> Audio | None:
    """The clip from its first word to its last; None where little is left, or no crest."""
    hop = RATE // 50
    level = np.abs(clip[: len(clip) // hop * hop]).reshape(-1, hop).max(axis=1)
    loud = np.flatnonzero(level > 0.03 * level.max())
    if len(loud) < 15 or np.abs(clip).max() < 10.0 ** (CREST_DB / 20.0) * louder_half(clip):
        return None
    cut = clip[max(0, loud[0] - 2) * hop : (loud[-1] + 3) * hop].copy()
    fade = np.linspace(0.0, 1.0, RATE // 100, dtype=np.float32)
    cut[: len(fade)] *= fade
    cut[-len(fade) :] *= fade[::-1]
    return cut


def _high_passed(voice: Audio) -> Audio:
    sos = signal.butter(6, 75.0, "highpass", fs=RATE, output="sos")
    return np.asarray(signal.sosfiltfilt(sos, voice), dtype=np.float32)


def _notched(place: Audio) -> Audio:
    for hz in (50.0, 100.0, 150.0):
        b, a = signal.iirnotch(hz, 20.0, fs=RATE)
        place = np.asarray(signal.filtfilt(b, a, place), dtype=np.float32)
    return place


def _as_it_is(clip: Audio) -> Audio:
    return clip


WITHOUT_HUM: Final = {"voice": _high_passed, "place": _notched}
"""Mains hum in a recording is a fault that no truth knows: it is taken out, by role."""


def levelled(clip: Audio) -> Audio:
    """The clip with the RMS of its louder half at VOICE_DBFS (AES17)."""
    wanted = 10.0 ** (VOICE_DBFS / 20.0) / np.sqrt(2.0)
    return np.asarray(clip * (wanted / max(louder_half(clip), 1e-9)), dtype=np.float32)


def louder_half(clip: Audio) -> float:
    """RMS of the louder half of it, by stretches of 20 ms."""
    hop = RATE // 50
    power = np.mean(clip[: len(clip) // hop * hop].reshape(-1, hop).astype(np.float64) ** 2, axis=1)
    return float(np.sqrt(np.mean(np.sort(power)[len(power) // 2 :])))

"""A coverage-guided fuzzer (atheris, libFuzzer) on opening takes and loading plans.

It needs an environment of its own beside the program's, kept out of git:

    python -m venv .fuzzvenv
    .fuzzvenv/bin/pip install atheris .[test]
    .fuzzvenv/bin/python -m tests.benchmarks.robustness coverage take [--seconds 600]
    .fuzzvenv/bin/python -m tests.benchmarks.robustness coverage plan [--seconds 600]

It learns which bytes lead into code not reached yet. `take`: a file is opened, told about and, as
long as it is short, read to its end through the pipeline. `plan`: a plan is loaded, its places are
found, and its text edited. Anything but the program's own errors, more than 5 s or more than
500 MB beyond what the fuzzer itself holds stops it; the input that did it stays in
.artefacts/fuzzing with the corpus, and naming it behind the target tries it again:

    .fuzzvenv/bin/python -m tests.benchmarks.robustness coverage take .artefacts/fuzzing/crash-…
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
import zlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

import atheris

KEEP: Final = Path(".artefacts/fuzzing")
HANGS_S: Final = 5
LONGEST: Final = 20_000
MOST_MB: Final = 500
_SCRATCH: Final = Path("/dev/shm" if os.path.isdir("/dev/shm") else tempfile.gettempdir())
_HEARD_FRAMES: Final = 10_000
"""Samples of all channels together that are still sent through the pipeline."""
_BLOCKS: Final = 20
_ONE_IN: Final = 8
"""So many inputs are heard by the pipeline: it takes ten times as long as all else."""

with atheris.instrument_imports(include=["engine", "tomllib", "tomlkit", "wavinfo"]):
    from engine.pipeline.pipeline import Pipeline
    from engine.plan.edit import add_track, remove_track, set_value, swap_inputs
    from engine.plan.load import PlanError, load_plan, parse_plan
    from engine.runtime.open_source import fitting_plan, plan_text
    from engine.sources.base import EndOfTake, SourceError
    from engine.sources.take import TakeSource, open_take

from tests.benchmarks.robustness import seeds  # noqa: E402
from tests.benchmarks.robustness.spoiling import PLAN_WORDS, TAKE_WORDS  # noqa: E402


class Takes:
    """Takes of one file, each written to memory first, as the program reads files only."""

    words = TAKE_WORDS

    def __init__(self, folder: Path) -> None:
        self._path = folder / "take.wav"

    @property
    def seeds(self) -> list[bytes]:
        """What to begin with."""
        return [take for take in seeds.takes() if len(take) < LONGEST]

    def once(self, data: bytes) -> None:
        """One input."""
        self._path.write_bytes(data)
        with suppress(SourceError):
            source = open_take(self._path, read_ahead=0)
            try:
                self._read(source, heard=zlib.crc32(data) % _ONE_IN == 0)
            except EndOfTake:
                pass
            finally:
                source.close()

    def _read(self, source: TakeSource, heard: bool) -> None:
        info = source.info
        plan = fitting_plan(None, info)
        parse_plan(plan_text(None, plan), info.channels)
        assert info.frames is not None
        heard = heard and info.frames * info.channels < _HEARD_FRAMES
        pipeline = Pipeline(plan, info.sample_rate_hz) if heard else None
        for _ in range(_BLOCKS):
            block = source.read(1.0)
            assert block is not None
            if pipeline is not None:
                pipeline.feed(block)


class Plans:
    """Plans, loaded and edited."""

    words = tuple(word.encode("utf-8", "surrogatepass") for word in PLAN_WORDS)

    def __init__(self, folder: Path) -> None:
        self._path = folder / "plan.toml"

    @property
    def seeds(self) -> list[bytes]:
        """What to begin with."""
        return [text.encode() for text in seeds.plans()]

    def once(self, data: bytes) -> None:
        """One input."""
        self._path.write_bytes(data)
        with suppress(PlanError):
            plan = load_plan(self._path)
            text = plan_text(self._path, plan)
            parse_plan(swap_inputs(text, 1, 2))
            parse_plan(add_track(text, 1 + max(track.input for track in plan.tracks)))
            parse_plan(set_value(text, 0, "name", "Boom"))
            parse_plan(remove_track(text, 0))


def _write_corpus(target: Takes | Plans, folder: Path) -> Path:
    corpus = folder / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(target.seeds):
        (corpus / f"seed{number}").write_bytes(seed)
    lines = []
    for word in target.words:
        escaped = "".join(f"\\x{byte:02x}" for byte in word)
        lines.append(f'"{escaped}"')
    (folder / "words.txt").write_text("\n".join(lines) + "\n")
    return corpus


def fuzz(once: Callable[[bytes], None], options: list[str]) -> None:
    """Hand over to libFuzzer, which ends this process."""
    atheris.Setup([sys.argv[0], *options], once)
    atheris.Fuzz()


def main() -> None:
    """Begin with the seeds and what earlier runs have found, and go on for the time given."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("target", choices=("take", "plan"))
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("again", nargs="?", help="an input to try once more")
    given = parser.parse_args()
    keep = KEEP.absolute() / f"guided-{given.target}"
    with tempfile.TemporaryDirectory(prefix="fuzzing", dir=_SCRATCH) as scratch:
        target = Takes(Path(scratch)) if given.target == "take" else Plans(Path(scratch))
        if given.again:
            began_s = time.monotonic()
            target.once(Path(given.again).read_bytes())
            print(f"passed in {time.monotonic() - began_s:.2f} s")
            return
        corpus = _write_corpus(target, keep)
        own_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        options = [str(corpus), f"-dict={keep / 'words.txt'}", f"-artifact_prefix={keep}/"]
        options += [f"-max_total_time={given.seconds}", f"-timeout={HANGS_S}"]
        options += [
            f"-rss_limit_mb={own_mb + MOST_MB}",
            f"-max_len={LONGEST}",
            "-print_final_stats=1",
        ]
        fuzz(target.once, options)

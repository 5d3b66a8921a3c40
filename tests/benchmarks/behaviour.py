"""Records what the program says into a folder, so that two commits can be compared.

    python -m tests.benchmarks.behaviour record DIR [--checkout PATH] [--takes FOLDER]
    python -m tests.benchmarks.behaviour compare A B

`record` runs the code of the checkout at PATH (this one by default) by its commands, with a home
folder of its own: scans of the demo take and of forty scenes of the detection benchmark, a replay
and a drill with their logs and reports, broken plans, help pages. The scenes are made once, by this
script's own checkout (`detection/fetch.py` first), and kept in FOLDER: record both commits with the
same one. `compare` prints a unified diff of two recordings and exits 1 where anything differs.
"""

from __future__ import annotations

import argparse
import difflib
import hashlib
import json
import os
import re
import shlex
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from tests.support.checkout import ROOT

TAKES: Final = ROOT / ".artefacts" / "behaviour-takes"
SCENES: Final = range(40)
"""Seeds of the benchmark's tuning set; every fourth scene has none of its faults."""
SCENE_S: Final = 75.0
CODE_RATES: Final = ("25", "29.97df", "23.976", "30", "24")
COMMANDS: Final = "watch,replay,drill,scan,report,sessions,devices,plan,plan new,plan check,"

ONE: Final = "[[track]]\ninput = 1\n"
TWO: Final = "[[track]]\ninput = 2\n"
BROKEN_PLANS: Final = {
    "unknown-key": f'{ONE}nmae = "Boom"\nKind = "boom"\n',
    "unknown-table": f'[tak]\ntitle = "Night"\n\n{ONE}\n[[tracks]]\ninput = 2\n',
    "wrong-types": f"[take]\ntitle = 3\nframe_rate = 25\ndate = 12:30:00\n\n{ONE}pack = 7\n",
    "input-types": '[[track]]\ninput = "1"\n[[track]]\ninput = true\n[[track]]\ninput = 1.0\n',
    "input-range": "[[track]]\ninput = 0\n[[track]]\ninput = -4\n",
    "input-twice": f"{ONE}{TWO}{ONE}",
    "input-missing": f'{ONE}[[track]]\nname = "Boom"\n',
    "no-tracks": '[take]\ntitle = "Night"\n',
    "one-track-table": '[track]\ninput = 1\nname = "Boom"\n',
    "bad-value": f"{ONE}{TWO}name = Boom\n",
    "open-text": f'{ONE}name = "Boom\n',
    "key-twice": f'{ONE}name = "Boom"\nname = "Lav"\n',
    "table-twice": f'[take]\ntitle = "A"\n[take]\ntitle = "B"\n{ONE}',
    "bad-words": f'[take]\nframe_rate = "26"\nrolling = "cod"\n{ONE}kind = "bom"\nlevel = "mian"\n',
    "bad-levels": f'{ONE}level = "main"\n{TWO}who = "Mate"\nlevel = "main"\n'
    '[[track]]\ninput = 3\nwho = "Mate"\nlevel = "main"\n',
    "bad-limits": "[limits.lav]\nsilent_amber_s = 30\nsilent_red_s = 20.0\nsilent_s = 1\n"
    f'[limits.lavs]\n\n{ONE}[track.limits]\nhum = "of"\nmuted_amber_s = -1\nlow_amber_s = nan\n',
    "bad-texts": f'{ONE}name = " Boom"\nbattery = "4 hours"\nplacement = "a\\u0007b"\n'
    f'who = "{"x" * 201}"\n',
    "no-code": f'[take]\nrolling = "timecode"\n{ONE}',
    "long-line": f"{ONE}# {'x' * 1000}\n",
    "not-utf-8": f'{ONE}name = "d\xe9j\xe0"\n',
}
"""Written as Latin-1: the last one is no UTF-8."""

NO_OTHER_CHECKOUT: Final = """import sys
sys.meta_path[:] = [f for f in sys.meta_path if "__editable__" not in getattr(f, "__module__", "")]
"""
"""Run first by each Python that is started: a module that the checkout lacks must not be found in
another one that the environment holds as an editable install."""

CLOCK_COLUMNS: Final = ("utc_ms", "end_utc_ms", "pid")
"""Left out of the log: the wall clock, and the number of a process."""
LOOK_COLUMNS: Final = ("at_s", "frame", "timecode")
"""Of the action `Look` alone: how far the watch was when the terminal was connected to it."""


def clean(text: str, folders: dict[str, str]) -> str:
    """The text without what is another in each recording."""
    for folder, name in folders.items():  # where takes, checkout and the home folder lie
        text = text.replace(folder, name)
    # Progress of rendering and scanning: which of its lines a terminal catches is up to the clock.
    text = re.sub(r"^(demo take: |scanning ).*\n", "", text, flags=re.MULTILINE)
    # The cache names the demo take by a hash of the source files it is made from.
    text = re.sub(r"demo-take-[0-9a-f]{12}", "demo-take-RECIPE", text)
    # A session is named after the wall clock and four random digits.
    text = re.sub(r"\d{8}T\d{6}Z-[0-9a-f]{4}", "SESSION", text)
    # When a session, a drill or a report was made.
    text = re.sub(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?( UTC|Z)", "WALL CLOCK", text)
    # In what the log keeps for a restart: the clocks, and which boot of the machine it was.
    return re.sub(r'"(steady_s|utc_ms|boot)":[^,}]+', r'"\1":CLOCK', text)


@dataclass(frozen=True, slots=True)
class Recorder:
    """Writes what one checkout's commands say; `scratch` is their home, its `data` has sessions."""

    checkout: Path
    takes: Path
    into: Path
    scratch: Path
    data: str = "data"

    def run(self, name: str, *arguments: str | Path) -> None:
        """One command: its exit status, standard output and standard error, as NAME.txt."""
        words = [str(argument) for argument in arguments]
        done = subprocess.run(
            [sys.executable, "-m", "app", *words],
            cwd=self.checkout,
            env=self._environment(),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
        )
        said = f"$ trackwarden {shlex.join(words)}\nexit status {done.returncode}\n"
        for stream, raw in (("output", done.stdout), ("error", done.stderr)):
            said += f"--- standard {stream}\n{raw.decode(errors='backslashreplace')}"
        self.write(f"{name}.txt", said)

    def write(self, name: str, text: str) -> None:
        """One file of the recording, cleaned."""
        folders = {self.takes: "TAKES", self.scratch: "SCRATCH", self.checkout: "CHECKOUT"}
        path = self.into / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(clean(text, {str(f): n for f, n in folders.items()}).encode())

    def keep(self, name: str, folder: Path) -> None:
        """All text files that a command wrote into that folder, cleaned."""
        for path in folder.glob("*"):
            if path.suffix in (".html", ".csv", ".json", ".toml", ".txt"):
                self.write(f"{name}/{path.name}", path.read_bytes().decode())

    def _environment(self) -> dict[str, str]:
        """A home of its own, and nothing of the terminal's width, colours, language or zone."""
        home = {f"XDG_{kind}_HOME": self.scratch / kind.lower() for kind in ("CACHE", "CONFIG")}
        home |= {"HOME": self.scratch, "XDG_DATA_HOME": self.scratch / self.data}
        path = f"{self.checkout}{os.pathsep}{self.scratch}"
        fixed = {"COLUMNS": "80", "NO_COLOR": "1", "LC_ALL": "C.UTF-8", "TZ": "UTC"}
        fixed |= {"LOGNAME": "mixer", "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
        fixed |= {"QT_QPA_PLATFORM": "offscreen"}  # the PDF is painted
        return {**os.environ, **fixed, **{name: str(path) for name, path in home.items()}}


def record(into: Path, checkout: Path, takes: Path) -> None:
    """Everything, into a new folder."""
    into.mkdir(parents=True)  # one that is there may hold files of an older recording
    make_takes(takes)
    with tempfile.TemporaryDirectory(prefix="behaviour-") as name:
        recorder = Recorder(checkout, takes, into, Path(name).resolve())
        (recorder.scratch / "sitecustomize.py").write_text(NO_OTHER_CHECKOUT, encoding="utf-8")
        for part in (record_demo, record_watches, record_takes, record_texts):
            part(recorder)


def record_demo(recorder: Recorder) -> None:
    """The demo take's scans, the report of it, and a new plan for it."""
    report = recorder.scratch / "report"
    recorder.run("demo/json", "scan", "demo", "--json")
    recorder.run("demo/text", "scan", "demo", "--report", report)
    recorder.run("demo/new-plan", "plan", "new", "demo")
    recorder.keep("demo", report)


def record_watches(recorder: Recorder) -> None:
    """A replay and a drill of the demo take: what the terminal says, their logs and reports."""
    for name, *more in (("replay",), ("drill", "--seed", "7")):
        own = replace(recorder, data=f"data-{name}")
        own.run(f"{name}/terminal", name, "demo", "--console", "--speed", "20", *more)
        for folder in (own.scratch / own.data).glob("trackwarden/sessions/*"):
            forms = [(f"--{kind}", folder / f"report.{kind}") for kind in ("html", "csv", "json")]
            own.run(f"{name}/report", "report", folder.name, *(w for form in forms for w in form))
            own.keep(name, folder)
            dump(own, f"{name}/log", folder / "session.sqlite")
    for path in sorted((recorder.scratch / "cache").rglob("*.*")):  # the healthy one is there now
        name = f"demo/{'healthy' if 'healthy' in path.parent.name else 'faulty'}-{path.name}.sha256"
        recorder.write(name, hashlib.sha256(path.read_bytes()).hexdigest() + "\n")


def record_takes(recorder: Recorder) -> None:
    """The scan of each take in the cache, by its plan."""
    for take in sorted(recorder.takes.glob("*.wav")):  # a scan uses two cores by itself
        plan = ("--plan", take.with_suffix(".toml"))
        recorder.run(f"takes/{take.stem}", "scan", take, *plan, "--json")


def record_texts(recorder: Recorder) -> None:
    """What is said of each broken plan, and every help page."""
    for name, text in BROKEN_PLANS.items():
        path = recorder.scratch / f"{name}.toml"
        path.write_bytes(text.encode("latin-1"))
        recorder.run(f"plans/{name}", "plan", "check", path)
    for command in COMMANDS.split(","):  # the last is none: the page of the whole program
        recorder.run(f"help/{command or 'program'}", *command.split(), "--help")


def dump(recorder: Recorder, name: str, log: Path) -> None:
    """A session's log as text: its schema, and each table's rows in order."""
    with closing(sqlite3.connect(log)) as connection:
        connection.row_factory = sqlite3.Row
        schema = connection.execute("SELECT sql, type, name FROM sqlite_schema ORDER BY name")
        made = [*schema.fetchall(), *connection.execute("PRAGMA user_version")]
        recorder.write(f"{name}/schema.txt", "\n".join(f"{row[0]}" for row in made))
        for table in (row["name"] for row in made[:-1] if row["type"] == "table"):
            rows = connection.execute(f'SELECT * FROM "{table}" ORDER BY 1')
            recorder.write(f"{name}/{table}.txt", "\n".join(row_text(dict(row)) for row in rows))


def row_text(row: dict[str, Any]) -> str:
    """One row, a line a column."""
    out = CLOCK_COLUMNS + (LOOK_COLUMNS if row.get("command") == "Look" else ())
    told = {k: v.hex() if isinstance(v, bytes) else v for k, v in row.items()}
    return "".join(f"{k}: {'CLOCK' if k in out else v}\n" for k, v in told.items())


def make_takes(takes: Path) -> None:
    """All takes and their plans, unless they are there."""
    if any(takes.glob("*.wav")):
        return
    half = takes.with_name(f"{takes.name}-unfinished")
    shutil.rmtree(half, ignore_errors=True)
    half.mkdir(parents=True)
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(make_take, SCENES, [half] * len(SCENES)))
    half.rename(takes)


def make_take(seed: int, folder: Path) -> None:
    """One scene as a WAV file and its plan beside it; those of even seeds with timecode."""
    import numpy as np
    import soundfile

    from engine.inject.registry import inject
    from engine.model.messages import Fault, Kind
    from engine.model.tracks import Track
    from tests.benchmarks.detection.library import RATE, load
    from tests.benchmarks.detection.planting import Planter, cards_for
    from tests.benchmarks.detection.scenes import LAST, build
    from tests.support.timecode_signals import code

    cards = cards_for(seed)
    unused = seed % 2 == 1 or any(card.what == "unexpected" for card in cards)
    stage = build(load("tuning"), seed, SCENE_S, unused)
    planter = Planter(stage, np.random.default_rng((seed, 1)))
    planter.plant_all(cards)
    samples, tracks, rate = planter.samples, list(stage.plan.tracks), CODE_RATES[seed % 5]
    if seed % 2 == 0:
        sound = code(rate, "21:10:00:00", int(SCENE_S * 31), RATE)[: len(samples)]
        samples = np.vstack((samples.T, sound)).T
        tracks.append(Track(LAST + 1, "code", Kind.TIMECODE))
    if seed % 4 == 0:
        rng = np.random.default_rng((seed, 3))
        what = (Fault.TIMECODE, (LAST + 1,), 25.0 + seed, 35.0 + seed, rng.random(), rng)
        inject(samples, RATE, *what, in_place=True)
    path = folder / f"scene-{seed:02}.wav"
    soundfile.write(path, samples, RATE, subtype="PCM_24")
    lines = ["[take]", f'frame_rate = "{rate}"']
    for track in tracks:
        keys = ("name", "kind", "who", "level", "pack", "receiver")
        told = {key: getattr(track, key) for key in keys}
        lines += ["", "[[track]]", f"input = {track.input}"]
        lines += [f"{key} = {json.dumps(value)}" for key, value in told.items() if value]
    path.with_suffix(".toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def compare(before: Path, after: Path) -> bool:
    """Print a unified diff of all files; whether there was any difference."""
    differs = False
    for name in sorted({p.relative_to(f) for f in (before, after) for p in f.rglob("*.*")}):
        paths = [folder / name for folder in (before, after)]
        texts = [p.read_bytes().decode() if p.exists() else "(no such file)" for p in paths]
        if texts[0] != texts[1]:
            differs = True
            old, new = (text.splitlines(keepends=True) for text in texts)
            print("".join(difflib.unified_diff(old, new, str(paths[0]), str(paths[1]))))
    return differs


def main() -> int:
    """Record or compare; 1 where two recordings differ."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    commands = parser.add_subparsers(dest="command", required=True)
    recording = commands.add_parser("record")
    recording.add_argument("into", metavar="DIR", type=Path)
    recording.add_argument("--checkout", metavar="PATH", type=Path, default=ROOT)
    recording.add_argument("--takes", metavar="FOLDER", type=Path, default=TAKES)
    comparing = commands.add_parser("compare")
    comparing.add_argument("folders", metavar=("A", "B"), nargs=2, type=Path)
    given = parser.parse_args()
    if given.command == "compare":
        return int(compare(*given.folders))
    record(given.into.resolve(), given.checkout.resolve(), given.takes.resolve())
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

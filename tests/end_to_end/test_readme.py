"""Every command of README.md, run for real: one row a command; one without a row fails."""

from __future__ import annotations

import csv
import html
import json
import os
import shlex
import shutil
import signal
import subprocess
import sys
import sysconfig
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.setup import bootstrap, system_packages
from engine.model.fault_remedies import word
from engine.session.reader import SessionReader
from tests.support.readme import README, fenced_commands
from tests.support.sound_server import DEVICE, require_sound_server, sound_server

pytestmark = [
    pytest.mark.end_to_end,
    pytest.mark.at_any_speed,
    pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals"),
]

ROOT = README.parent
TEXT = README.read_text("utf-8")
INTERRUPT_S = 120.0
FETCH_S = 300.0


@dataclass(frozen=True)
class Desk:
    """A folder to type in, with sessions of its own."""

    folder: Path
    env: dict[str, str]

    def type(self, command: str, *more: str, statuses: tuple[int, ...] = (0,)) -> str:
        """Type it, with `more` behind, and wait; returns what it printed."""
        words = [*_program(command), *more]
        done = subprocess.run(
            words,
            cwd=self.folder,
            env=self.env,
            capture_output=True,
            text=True,
            timeout=INTERRUPT_S,
        )
        assert done.returncode in statuses, f"{words}: {done.returncode}\n{done.stderr}"
        assert "Traceback" not in done.stderr
        return done.stdout

    def end_after(self, line: str, command: str, *more: str, python: str = "") -> str:
        """Type it and press Ctrl+C once a line with those words came; returns all it printed."""
        words = [*_program(command, python), *more]
        begun, said = time.monotonic(), []
        with subprocess.Popen(
            words,
            cwd=self.folder,
            env=self.env,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        ) as process:
            assert process.stdout is not None
            for text in process.stdout:
                said.append(text)
                if line in text:
                    process.send_signal(signal.SIGINT)
                    line = "\0"  # once is enough
                assert time.monotonic() - begun < INTERRUPT_S, "".join(said)
        printed = "".join(said)
        assert line == "\0", printed
        assert process.returncode in (0, 1), printed
        assert "Traceback" not in printed
        return printed


def _program(command: str, python: str = "") -> list[str]:
    """The words of a command, with the interpreter of this test for the program's own."""
    words = shlex.split(command)
    if words[0] == "trackwarden":
        # -P: as the console script, which knows nothing of the folder it is typed in.
        return [sys.executable, "-P", "-m", "app", *words[1:]]
    if words[0] == "python3":
        return [python or sys.executable, *words[1:]]
    return words


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Where all of README.md is typed, one command after the other; no display, no window."""
    folder = tmp_path_factory.mktemp("desk")
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    env.pop("QT_QPA_PLATFORM", None)
    env |= {"XDG_DATA_HOME": str(folder / "data"), "PYTHONPATH": str(ROOT)}
    return Desk(folder, env)


@pytest.fixture
def heard(desk: Desk) -> Iterator[Desk]:
    """The same with an interface: a private sound server, where the machine has one."""
    require_sound_server()
    with sound_server(4) as server:
        keep = ("XDG_DATA_HOME", "PYTHONPATH")
        env = {k: v for k, v in server.env.items() if k not in ("DISPLAY", "QT_QPA_PLATFORM")}
        yield Desk(desk.folder, env | {name: desk.env[name] for name in keep})


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clone whose `.venv` is set up already: the packages are those of this test run.

    Fetching 150 MB is no part of this test; `tests/app/setup/test_bootstrap.py` sees to the set-up.
    """
    root = tmp_path_factory.mktemp("clone") / "trackwarden"
    hidden = shutil.ignore_patterns(".*", "__pycache__", "build", "*.egg-info")
    shutil.copytree(ROOT, root, ignore=hidden)
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", root / ".venv"], check=True)
    python = bootstrap.venv_python(root)
    paths = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    purelib = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        check=True, capture_output=True, text=True,
    ).stdout.strip()  # fmt: skip
    Path(purelib, "packages.pth").write_text("\n".join([str(root), *sorted(paths)]) + "\n")
    bootstrap._write_stamp(root, bootstrap.fingerprint(root, "test"))
    return root


# ---- how each is run -----------------------------------------------------------------------------


def _start(desk: Desk, clone: Path, command: str) -> None:
    at_clone = Desk(clone, {k: v for k, v in desk.env.items() if k != "PYTHONPATH"})
    said = at_clone.end_after("muted", command)
    assert "raising-the-bell.wav, 14 tracks" in said
    assert "watched 00:00:" in said


def _tests(desk: Desk, clone: Path, command: str) -> None:
    if system_packages.missing(
        (system_packages.SOUND, system_packages.WINDOW, system_packages.TESTS),
        system_packages.Machine.here(),
    ):
        pytest.skip("would install system packages")  # fmt: skip
    at_clone = Desk(clone, {k: v for k, v in desk.env.items() if k != "PYTHONPATH"})
    assert " passed" in at_clone.type(command, "tests/engine/model/test_dataclass_json.py")


def _pip_install(desk: Desk, clone: Path, command: str) -> None:
    """Into an environment that holds the libraries already: nothing is fetched."""
    pytest.importorskip("setuptools")
    place = desk.folder / "own"
    words = [sys.executable, "-m", *shlex.split(command)[:-1], str(clone), f"--target={place}"]
    words += ["--no-deps", "--no-index", "--no-build-isolation", "--quiet"]
    subprocess.run(words, check=True, env=desk.env, cwd=desk.folder)
    program = [sys.executable, place / "bin" / "trackwarden", "scan", "demo", "--json"]
    env = desk.env | {"PYTHONPATH": str(place)}
    done = subprocess.run(program, env=env, cwd=desk.folder, capture_output=True, text=True)
    assert done.returncode == 1, done.stderr
    assert len(json.loads(done.stdout)["tracks"]) == 14
    where = subprocess.run(
        [sys.executable, "-P", "-c", "import app; print(app.__file__)"],
        env=env, cwd=desk.folder, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert where.stdout.startswith(str(place))


def _replay(desk: Desk, _clone: Path, command: str) -> None:
    said = desk.type(command, "--console", "--speed", "20", "--from", "60", statuses=(1,))
    assert "3 Rigger main (pack 3, left shoulder): clipping" in said


def _drill(desk: Desk, _clone: Path, command: str) -> None:
    said = desk.type(command, "--console", "--speed", "20")
    assert "trackwarden itself found" in said


def assert_report(stem: Path, source: str, incidents: int) -> None:
    """Table, page and print of one report all name its source and each of its incidents."""
    with stem.with_suffix(".csv").open(encoding="utf-8-sig", newline="") as table:
        rows = list(csv.DictReader(table))
    assert len(rows) == incidents > 0
    page = html.unescape(stem.with_suffix(".html").read_text("utf-8"))
    pages = PdfReader(stem.with_suffix(".pdf")).pages
    printed = " ".join(page.extract_text() for page in pages)
    assert source in page
    assert source in printed
    for row in rows:
        for text in (row["timecode_in"], row["name"]):
            assert text in page
            assert text in printed
        assert row["fault"] in page.lower()
        assert row["fault"] in printed.lower()


def _scan(desk: Desk, _clone: Path, command: str) -> None:
    assert "3 Rigger main" in desk.type(command, statuses=(1,))
    if "--report" in command:
        folder = desk.folder / command.split()[-1]
        made = json.loads((folder / "report.json").read_text("utf-8"))
        (section,) = made["sections"]
        assert len(section["tracks"]) == 14
        assert len(section["incidents"]) > 5
        assert_report(folder / "report", "raising-the-bell.wav", len(section["incidents"]))


def _sessions(desk: Desk, _clone: Path, command: str) -> None:
    _session(desk)
    assert "raising-the-bell.wav" in desk.type(command)


def _session(desk: Desk) -> str:
    """The name of a session that was watched to its end."""
    desk.type("trackwarden replay demo", "--console", "--speed", "20", "--from", "90")
    return max(path.name for path in (desk.folder / "data/trackwarden/sessions").iterdir())


def _report(desk: Desk, _clone: Path, command: str) -> None:
    name = _session(desk)
    desk.type(command.replace("SESSION", name))
    with SessionReader(desk.folder / "data/trackwarden/sessions" / name) as log:
        incidents = log.incidents()
    with (desk.folder / "night.csv").open(encoding="utf-8-sig", newline="") as table:
        rows = list(csv.DictReader(table))
    assert len(rows) == len(incidents) > 0
    assert {row["fault"] for row in rows} == {word(i.fault) for i in incidents}
    with (desk.folder / "kit.csv").open(encoding="utf-8-sig", newline="") as table:
        kit = list(csv.DictReader(table))
    assert sum(int(row["failures"]) for row in kit) > 0
    assert_report(desk.folder / "night", "raising-the-bell.wav", len(incidents))


def _devices(desk: Desk, _clone: Path, command: str) -> None:
    assert DEVICE in desk.type(command)


def _plan_new(desk: Desk, _clone: Path, command: str) -> None:
    (desk.folder / "tonight.toml").unlink(missing_ok=True)
    desk.type(command.replace("NAME", DEVICE))
    assert (desk.folder / "tonight.toml").read_text("utf-8").count("[[track]]") > 1


def _plan_check(desk: Desk, _clone: Path, command: str) -> None:
    (desk.folder / "tonight.toml").unlink(missing_ok=True)
    desk.type("trackwarden plan new demo -o tonight.toml")
    assert "no mistakes" in desk.type(command)


def _watch(desk: Desk, clone: Path, command: str) -> None:
    _plan_new(desk, clone, "trackwarden plan new --device NAME -o tonight.toml")
    said = desk.end_after("watching", command.replace("NAME", DEVICE), "--console")
    assert DEVICE in said
    assert "watched 00:00:" in said


def _by_tool(desk: Desk, clone: Path, command: str) -> None:
    """With a tool that is no library of ours: where the machine has it, and only there.

    `pip install .` above builds and runs the same package; these fetch its libraries as well.
    """
    words = shlex.split(command)
    tool = "uv" if words[0].startswith("uv") else "pipx"
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed here")
    own = {
        "UV_TOOL_DIR": "uv",
        "UV_TOOL_BIN_DIR": "bin",
        "PIPX_HOME": "pipx",
        "PIPX_BIN_DIR": "bin",
    }
    env = desk.env | {name: str(desk.folder / tool / place) for name, place in own.items()}
    del env["PYTHONPATH"]
    run = {"cwd": clone, "env": env, "capture_output": True, "text": True, "timeout": FETCH_S}
    done = subprocess.run(words, **run)
    if "install" in words:
        assert done.returncode == 0, done.stderr
        done = subprocess.run([desk.folder / tool / "bin/trackwarden", "scan", "demo"], **run)
    assert done.returncode == 1, done.stderr
    assert "3 Rigger main" in done.stdout


Way = Callable[[Desk, Path, str], None]
WAYS: dict[str, Way] = {
    "python3 app/start.py": _start,
    "python3 tests/run.py": _tests,
    "pip install .": _pip_install,
    "uv tool install .": _by_tool,
    "pipx install .": _by_tool,
    "uvx --from . trackwarden scan demo": _by_tool,
    "pipx run --spec . trackwarden scan demo": _by_tool,
    "trackwarden replay demo": _replay,
    "trackwarden drill demo": _drill,
    "trackwarden drill demo --level hard --seed 7": _drill,
    "trackwarden scan demo --report report": _scan,
    "trackwarden sessions": _sessions,
    "trackwarden report SESSION --html night.html --pdf night.pdf --csv night.csv"
    " --crew kit.csv": _report,
    "trackwarden plan check tonight.toml": _plan_check,
}
WITH_AN_INTERFACE: dict[str, Way] = {
    "trackwarden devices": _devices,
    "trackwarden plan new --device NAME -o tonight.toml": _plan_new,
    "trackwarden watch --device NAME --plan tonight.toml": _watch,
}


def test_every_command_has_a_way_to_be_run() -> None:
    """A command that is added to README.md comes with a row here, and no row outlives its."""
    assert set(fenced_commands(TEXT)) == {*WAYS, *WITH_AN_INTERFACE}


@pytest.mark.parametrize("command", WAYS)
def test_it_does_what_is_promised(desk: Desk, clone: Path, command: str) -> None:
    """Typed as it stands there, it runs and says what it should."""
    WAYS[command](desk, clone, command)


@pytest.mark.parametrize("command", WITH_AN_INTERFACE)
def test_it_does_so_with_an_interface(heard: Desk, clone: Path, command: str) -> None:
    """The same for commands that need a live input."""
    WITH_AN_INTERFACE[command](heard, clone, command)

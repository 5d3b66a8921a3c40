"""Set-up logic on machines that are made up: what is missing, who may install, what is remade."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from app.setup import bootstrap
from app.setup import system_packages as system

DEBIAN_ROOT = system.Machine(linux=True, debian=True, root=True, display=True)
DEBIAN_USER = replace(DEBIAN_ROOT, root=False)
OTHER_LINUX = replace(DEBIAN_USER, debian=False)
OTHER_SYSTEM = system.Machine(linux=False, debian=False, root=False, display=True)
ALL = (system.SOUND, system.WINDOW, system.TESTS)


@pytest.fixture
def bare(monkeypatch):
    """A machine where only what the test puts in is there."""
    there: set[str] = set()
    monkeypatch.setattr(system, "is_there", there.__contains__)
    monkeypatch.setattr(system.missing, "__defaults__", (there.__contains__,))
    return there


@pytest.fixture
def apt(monkeypatch, bare):
    """An apt that installs whatever it is asked for; returns the package lists it was given."""
    asked: list[list[str]] = []

    def install(needs, **_):
        asked.append([need.package for need in needs])
        bare.update(need.proof for need in needs)
        return ""

    monkeypatch.setattr(system, "install", install)
    return asked


@pytest.fixture
def checkout(tmp_path):
    """A folder with the two files that decide what goes into the `.venv`."""
    (tmp_path / "app" / "setup").mkdir(parents=True)
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    (tmp_path / bootstrap.CONSTRAINTS).write_text("numpy==2.0\n")
    return tmp_path


@pytest.fixture
def steps(monkeypatch):
    """Set-up steps are noted instead of done; each makes just what the next one looks at."""
    done: list[str] = []

    def make(root: Path) -> None:
        done.append("make")
        bootstrap.venv_python(root).parent.mkdir(parents=True, exist_ok=True)
        bootstrap.venv_python(root).touch()

    def run(command, doing):
        done.append(doing)

    monkeypatch.setattr(bootstrap, "make_venv", make)
    monkeypatch.setattr(bootstrap, "_run", run)
    monkeypatch.setattr(bootstrap, "is_usable", lambda root: "make" in done)
    return done


def prepare(root: Path, extra: str = "") -> Path:
    """Set up `root` on a machine that needs no system packages."""
    return bootstrap.prepare(root, ALL, extra, OTHER_SYSTEM)


def test_only_what_is_missing_is_asked_for():
    """A row whose library, program or file is there is left alone, and so are other purposes."""
    found = system.missing([system.SOUND, system.TESTS], DEBIAN_USER, there=lambda p: p != "Xvfb")
    assert [need.package for need in found] == ["xvfb"]


def test_other_systems_need_nothing():
    """On macOS and Windows no system package is ever missing."""
    assert system.missing((*ALL, system.PYTHON), OTHER_SYSTEM, there=lambda _: False) == ()


@pytest.mark.parametrize(
    ("text", "is_debian"),
    [
        ("ID=debian\n", True),
        ('NAME="x"\nID=ubuntu\nID_LIKE=debian\n', True),
        ('ID=linuxmint\nID_LIKE="ubuntu debian"\n', True),
        ('ID="fedora"\nHOME_URL="https://example.org/debian"\n', False),
        ("", False),
    ],
)
def test_debian_and_its_kin_are_recognised(text, is_debian):
    """Debian, Ubuntu and what is like them are told from other systems by os-release."""
    assert system.is_debian(text) is is_debian


@pytest.mark.parametrize(
    ("proof", "there"),
    [
        ("libc.so.6", True),
        ("libnosuchthing.so.9", False),
        ("sh", True),
        ("no-such-program-here", False),
        ("/etc/pass*", True),
        ("/no/such/*", False),
        ("module json", True),
        ("module no_such_module", False),
    ],
)
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux is asked")
def test_each_kind_of_proof_is_tried_out(proof, there):
    """A library is loaded, a program looked up, a file matched, a module found."""
    assert system.is_there(proof) is there


def test_root_on_debian_installs_what_is_missing(bare, apt):
    """As root, the missing packages are installed in one go, the others are not touched."""
    bare.update(need.proof for need in system.NEEDS if need.purpose == system.WINDOW)
    bootstrap.get_system_packages([system.SOUND, system.WINDOW], DEBIAN_ROOT)
    assert apt == [["libportaudio2", "pulseaudio-utils"]]
    bootstrap.get_system_packages([system.SOUND, system.WINDOW], DEBIAN_ROOT)
    assert len(apt) == 1


def test_others_on_debian_get_one_command(bare, apt):
    """Without root, all packages stand in a single command, and nothing is installed."""
    with pytest.raises(bootstrap.SetUpError) as stopped:
        bootstrap.get_system_packages([system.SOUND, system.WINDOW], DEBIAN_USER)
    commands = re.findall(r"^ +sudo .*$", str(stopped.value), re.MULTILINE)
    assert len(commands) == 1
    wanted = {need.package for need in system.NEEDS if need.purpose in ALL[:2]}
    assert wanted <= set(commands[0].split())
    assert apt == []


def test_other_linux_is_told_the_libraries(bare):
    """Elsewhere on Linux the libraries are named, as package names differ."""
    with pytest.raises(bootstrap.SetUpError, match=r"libportaudio\.so\.2"):
        bootstrap.get_system_packages([system.SOUND], OTHER_LINUX)


def test_what_one_can_do_without_does_not_stop(bare, capsys):
    """Missing sound alone is said and gone past; with a window library missing too it stops."""
    bootstrap.get_system_packages([system.SOUND], DEBIAN_USER, can_do_without=[system.SOUND])
    assert "libportaudio2" in capsys.readouterr().err
    with pytest.raises(bootstrap.SetUpError):
        bootstrap.get_system_packages(ALL, DEBIAN_USER, can_do_without=[system.SOUND])


def test_an_install_that_fails_says_so(bare, monkeypatch):
    """Where apt fails, its last words and the command are shown."""
    monkeypatch.setattr(system, "install", lambda _: "E: no network")
    with pytest.raises(bootstrap.SetUpError, match=r"(?s)E: no network.*libportaudio2"):
        bootstrap.get_system_packages([system.SOUND], DEBIAN_ROOT)


def test_apt_is_asked_nothing_and_lists_come_first():
    """The lists are fetched before installing, without questions and without recommendations."""
    calls = []

    def run(command, **how):
        calls.append((command, how))
        return subprocess.CompletedProcess(command, 0, stdout="")

    assert system.install([system.NEEDS[0]], run) == ""
    (update, _), (install, how) = calls
    assert update[-1] == "update"
    assert install[-1] == system.NEEDS[0].package
    assert {"-y", "--no-install-recommends"} <= set(install)
    assert how["env"]["DEBIAN_FRONTEND"] == "noninteractive"
    assert how["stdin"] == subprocess.DEVNULL


def test_a_second_run_does_nothing(checkout, steps):
    """Once set up, only hashes are compared."""
    prepare(checkout)
    assert steps == ["make", "installing setuptools", "installing the packages"]
    steps.clear()
    assert prepare(checkout) == bootstrap.venv_python(checkout)
    assert steps == []


def test_what_the_tests_set_up_serves_the_program_too(checkout, steps):
    """The test set-up holds the program's packages; the other way round it is completed."""
    prepare(checkout, "test")
    steps.clear()
    prepare(checkout)
    assert steps == []
    (checkout / "pyproject.toml").write_text("[project]\n# changed\n")
    bootstrap.fill_venv(checkout, "")
    assert not bootstrap.is_ready(checkout, {"test"})


@pytest.mark.parametrize("name", ["pyproject.toml", str(bootstrap.CONSTRAINTS)])
def test_changed_pins_are_installed(checkout, steps, name):
    """A change of the project file or the pins is installed at the next start."""
    prepare(checkout)
    before = bootstrap.stamp(checkout)
    (checkout / name).write_text("# changed\n")
    prepare(checkout)
    assert steps.count("installing the packages") == 2
    assert bootstrap.stamp(checkout) != before


def test_an_interrupted_set_up_is_made_anew(checkout, steps, monkeypatch):
    """A set-up that stopped on its way leaves its mark, and is then neither ready nor usable."""
    monkeypatch.undo()

    def stop(command, doing):
        raise KeyboardInterrupt

    bootstrap.venv_python(checkout).parent.mkdir(parents=True)
    bootstrap.venv_python(checkout).symlink_to(sys.executable)
    monkeypatch.setattr(bootstrap, "_run", stop)
    with pytest.raises(KeyboardInterrupt):
        bootstrap.fill_venv(checkout, "")
    assert bootstrap.stamp(checkout) == bootstrap.UNFINISHED
    assert not bootstrap.is_ready(checkout, {"", "test"})
    assert not bootstrap.is_usable(checkout)


@pytest.mark.parametrize("script", ["exit 1", "exec /no/such/python"])
@pytest.mark.skipif(sys.platform == "win32", reason="the made-up interpreter is a shell script")
def test_a_broken_or_foreign_interpreter_is_not_used(checkout, script):
    """An interpreter that fails, or says that it is another version, is no use."""
    python = bootstrap.venv_python(checkout)
    python.parent.mkdir(parents=True)
    python.write_text(f"#!/bin/sh\n{script}\n")
    python.chmod(0o755)
    assert not bootstrap.is_usable(checkout)


def test_the_venv_module_is_wanted_only_where_a_venv_must_be_made(checkout, steps, bare, apt):
    """Debian's venv package is installed for a new `.venv` and not asked for again."""
    bootstrap.prepare(checkout, [], "", DEBIAN_ROOT)
    assert [len(packages) for packages in apt] == [1]
    assert apt[0][0].endswith("-venv")
    bare.clear()
    bootstrap.prepare(checkout, [], "", DEBIAN_ROOT)
    assert len(apt) == 1


def test_a_step_that_fails_shows_its_last_lines():
    """What a failing step said last is in the error, with what to do."""
    script = "print('\\n'.join(map(str, range(99)))); raise SystemExit(1)"
    with pytest.raises(bootstrap.SetUpError, match=r"(?s)installing failed:\n93\n.*98\n.*again"):
        bootstrap._run([sys.executable, "-c", script], "installing")


@pytest.mark.parametrize(
    ("error", "status"), [(bootstrap.SetUpError("do this"), 2), (KeyboardInterrupt(), 130)]
)
def test_a_stopped_set_up_ends_without_traceback(capsys, error, status):
    """A set-up that cannot go on is a message on standard error and an exit status."""

    def work():
        raise error

    assert bootstrap.run_prepared(work) == status
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("set-up: ")


def test_every_dependency_is_pinned():
    """Each package that the project asks for has exactly one version in the constraints file."""
    import tomllib

    project = tomllib.loads((bootstrap.ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    asked = [*project["dependencies"], *project["optional-dependencies"]["test"], "setuptools"]
    names = [re.split(r"[^\w-]", text)[0].lower().replace("_", "-") for text in asked]
    lines = (bootstrap.ROOT / bootstrap.CONSTRAINTS).read_text("utf-8").splitlines()
    pinned = [line.partition("==")[0] for line in lines if "==" in line]
    assert set(names) <= set(pinned)
    assert len(pinned) == len(set(pinned))

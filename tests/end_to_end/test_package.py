"""Wheel and sdist, built and installed into environments that hold nothing of the checkout."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from pathlib import Path

import pytest

from app.setup import bootstrap
from tests.support.checkout import ROOT
from tests.support.readme import README

pytestmark = [pytest.mark.end_to_end, pytest.mark.at_any_speed]
LICENCE = ROOT / "app" / "LICENSE.txt"
BUILD = """
import sys
from setuptools import build_meta
print(getattr(build_meta, "build_" + sys.argv[1])(sys.argv[2]))
"""


def built(kind: str, folder: Path) -> Path:
    """The wheel or sdist of this checkout, built from a copy of what git would hand out."""
    source = folder / "source"
    names = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\0")
    for name in filter(None, names):
        if not name.startswith("tests/") and (ROOT / name).is_file():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes((ROOT / name).read_bytes())
    done = subprocess.run(
        [sys.executable, "-c", BUILD, kind, str(folder)],
        cwd=source, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return folder / done.stdout.split()[-1]


@pytest.mark.parametrize("kind", ["wheel", "sdist"])
def test_what_is_built_runs_in_a_clean_environment(kind: str, tmp_path: Path) -> None:
    """Installed by pip beside its libraries, it scans the demo take and carries its licence."""
    pytest.importorskip("setuptools")
    package = built(kind, tmp_path)
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", tmp_path / ".venv"], check=True)
    python = bootstrap.venv_python(tmp_path)
    _lend_libraries(python)
    install = [python, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"]
    subprocess.run([*install, "--no-build-isolation", package], check=True)
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    env |= {"XDG_CACHE_HOME": str(tmp_path / "cache"), "XDG_DATA_HOME": str(tmp_path / "data")}
    done = subprocess.run(
        [python.parent / "trackwarden", "scan", "demo", "--json"],
        cwd=tmp_path, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1, done.stderr
    assert len(json.loads(done.stdout)["tracks"]) == 14
    assert LICENCE.read_text("utf-8") in _licence(package)


def _lend_libraries(python: Path) -> None:
    """The libraries of this test run, but not the checkout: nothing is fetched."""
    purelib = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        check=True, capture_output=True, text=True,
    ).stdout.strip()  # fmt: skip
    lent = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    Path(purelib, "lent.pth").write_text("\n".join(sorted(lent)) + "\n")


def _licence(package: Path) -> str:
    """The licence file that the package carries."""
    if package.suffix == ".whl":
        with zipfile.ZipFile(package) as wheel:
            (name,) = (n for n in wheel.namelist() if "dist-info/licenses" in n)
            return wheel.read(name).decode()
    with tarfile.open(package) as sdist:
        (name,) = (n for n in sdist.getnames() if n.endswith("app/LICENSE.txt"))
        file = sdist.extractfile(name)
        assert file is not None
        return file.read().decode()


def test_the_readme_has_the_same_licence() -> None:
    """README.md quotes the licence word for word."""
    assert LICENCE.read_text("utf-8") in README.read_text("utf-8")

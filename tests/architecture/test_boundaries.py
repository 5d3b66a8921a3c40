"""What may import what: the arrows between the parts of the program."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ENGINE = sorted((ROOT / "engine").rglob("*.py"))

NO_QT = """
import importlib, pkgutil, sys

class NoQt:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {"PySide6", "shiboken6", "pyqtgraph", "PyQt5", "PyQt6", "app"}:
            raise ImportError(name + " is not for the engine")

sys.meta_path.insert(0, NoQt())
import engine
for module in pkgutil.walk_packages(engine.__path__, "engine."):
    importlib.import_module(module.name)
"""

FORBIDDEN = [
    (
        "engine/measure",
        ("engine.detectors", "engine.alarms", "engine.pipeline.pipeline", "engine.sources"),
    ),
    (
        "engine/detectors",
        ("engine.measure", "engine.alarms", "engine.pipeline.pipeline", "engine.sources"),
    ),
    ("engine/alarms", ("engine.measure", "engine.pipeline.pipeline", "engine.sources")),
    (
        "engine/sources",
        ("engine.measure", "engine.detectors", "engine.alarms", "engine.pipeline.pipeline"),
    ),
    (
        "engine/inject",
        ("engine.measure", "engine.detectors", "engine.alarms", "engine.pipeline.pipeline"),
    ),
    (
        "engine/pipeline/pipeline.py",
        ("engine.sources", "engine.runtime.runner", "engine.runtime.process"),
    ),
    ("engine", ("app", "tests")),
]
"""Detectors know a measurement, not how it was made; alarms know conditions, not detectors."""


def name_of(path: Path) -> str:
    """The module's dotted name."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def imports(path: Path) -> set[str]:
    """Dotted names a file imports, inside functions too."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_the_engine_runs_without_qt() -> None:
    """All of the engine can be imported where there is neither Qt nor app."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", NO_QT],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(("where", "not_these"), FORBIDDEN, ids=[where for where, _ in FORBIDDEN])
def test_arrows(where: str, not_these: tuple[str, ...]) -> None:
    """No part imports a part that lies behind it."""
    files = [p for p in ENGINE if p.is_relative_to(ROOT / where)]
    assert files
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files
        for name in sorted(imports(path))
        if any(name == part or name.startswith(part + ".") for part in not_these)
    ]
    assert not wrong


def test_alarms_know_only_the_table_of_faults() -> None:
    """Of the detectors, the alarms read the registry's rows and nothing else."""
    wrong = {
        name
        for path in ENGINE
        if path.is_relative_to(ROOT / "engine/alarms")
        for name in imports(path)
        if name.startswith("engine.detectors.") and not name.startswith("engine.detectors.registry")
    }
    assert not wrong


def test_a_detector_knows_no_other_fault() -> None:
    """No detector imports the table of faults it stands in."""
    for path in (ROOT / "engine/detectors").glob("*.py"):
        if path.stem != "registry":
            assert not any(n.startswith("engine.detectors.registry") for n in imports(path)), path


def test_only_the_edges_read_a_clock() -> None:
    """Time is passed in: what judges sound never imports a clock."""
    pure = ("measure", "detectors", "alarms", "inject", "timecode")
    for path in ENGINE:
        parts = path.relative_to(ROOT / "engine").parts
        if parts[0] in pure or path.stem in ("pipeline", "coverage", "ribbon", "scan", "model"):
            names = {name.split(".")[0] for name in imports(path)}
            assert not names & {"time", "datetime", "threading", "random"}, name_of(path)


def test_a_watch_loads_no_scipy() -> None:
    """Its import takes longer than all the rest of the engine's start."""
    code = (
        "import sys, engine.runtime.runner, engine.pipeline.scan; sys.exit('scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0

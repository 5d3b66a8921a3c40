"""Where modules lie and what they are called."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from tests.support.checkout import ROOT

PACKAGES: Final = ("engine", "app", "demo_audio")
TWICE: Final = {"base.py", "registry.py"}
"""Each package of exchangeable parts has one of them."""
PRIVATE: Final = {
    *("acts", "carry", "crew", "desk", "ears", "entry", "front", "gather", "harmless", "kept"),
    *("leaving", "legible", "ours", "panel", "place", "places", "plain", "readings", "ribbon"),
    *("stretch", "told", "who", "world", "channel", "helpers", "misc", "stuff", "utils", "common"),
}
"""Names that say nothing to someone who knows the field, or everything and nothing."""


def modules() -> list[Path]:
    """Every module, relative to the checkout."""
    found = (path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
    return sorted(p.relative_to(ROOT) for p in found if not p.stem.startswith("__"))


def clashes(paths: list[Path]) -> dict[str, list[Path]]:
    """Modules that share a name, but for an injector beside the detector of its fault."""
    by_name: dict[str, list[Path]] = {}
    for path in paths:
        if path.name not in TWICE:
            by_name.setdefault(path.name, []).append(path)
    pair = {Path("engine/detectors"), Path("engine/inject")}
    return {
        name: same
        for name, same in by_name.items()
        if len(same) > 1 and {path.parent for path in same} != pair
    }


def test_no_name_twice() -> None:
    """Who looks for a module by its name finds one."""
    assert clashes(modules()) == {}


def test_a_name_that_comes_twice_is_noticed() -> None:
    """An injector beside its detector may share its name; any other two may not."""
    pair = [Path("engine/detectors/hum.py"), Path("engine/inject/hum.py")]
    assert clashes([*pair, Path("engine/plan/base.py"), Path("engine/sources/base.py")]) == {}
    assert list(clashes([*pair, Path("app/models/hum.py")])) == ["hum.py"]
    assert list(clashes([Path("app/cli/scan.py"), Path("engine/pipeline/scan.py")])) == ["scan.py"]


def test_no_module_is_loose() -> None:
    """The roots hold folders; only what starts the program lies in `app` itself."""
    loose = {path.relative_to(ROOT).as_posix() for path in ROOT.glob("*.py")}
    for package in ("engine", "app"):
        loose |= {path.relative_to(ROOT).as_posix() for path in (ROOT / package).glob("*.py")}
    assert loose == {"engine/__init__.py", "app/__init__.py", "app/__main__.py", "app/start.py"}


def test_names_are_words_of_the_field() -> None:
    """No file is named by a private word."""
    tests = [path.relative_to(ROOT) for path in (ROOT / "tests").rglob("*.py")]
    named = [p for p in [*modules(), *tests] if p.stem.removeprefix("test_") in PRIVATE]
    assert named == []


def test_the_top_level_is_small() -> None:
    """Beside the packages lie two texts and the project file."""
    known = {"README.md", "DEVELOPERS.md", "pyproject.toml", "app", "engine", "tests", "demo_audio"}
    built = {"build", "trackwarden.egg-info", "node_modules"}  # of an install from here
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert visible - built == known

"""The order of packages: nothing imports upward, and no circle anywhere."""

from __future__ import annotations

from pathlib import Path

from tests.architecture.imports import (
    APP_ORDER,
    ENGINE_ORDER,
    circles,
    drawing,
    module_imports,
    package_arrows,
    upward,
)
from tests.support.checkout import ROOT


def test_nothing_in_the_engine_imports_upward() -> None:
    """A package of the engine imports only packages that stand before it in the order."""
    assert upward(module_imports(ROOT / "engine"), ENGINE_ORDER) == []


def test_every_package_of_the_engine_stands_in_the_order() -> None:
    """A new package gets its place in the order on the day that it is added."""
    folders = {path.parent.name for path in (ROOT / "engine").glob("*/__init__.py")}
    assert folders == {name for floor in ENGINE_ORDER for name in floor}


def test_no_module_of_the_engine_is_in_a_circle() -> None:
    """Imports for types alone and inside functions count too."""
    assert circles(module_imports(ROOT / "engine")) == []


def test_nothing_in_the_app_imports_upward() -> None:
    """A package of the app imports only packages that stand before it in the order."""
    assert upward(module_imports(ROOT / "app"), APP_ORDER) == []


def test_every_package_of_the_app_stands_in_the_order() -> None:
    """A new package gets its place in the order on the day that it is added."""
    folders = {path.parent.name for path in (ROOT / "app").glob("*/__init__.py")}
    assert folders == {name for floor in APP_ORDER for name in floor}


def test_no_module_of_the_app_is_in_a_circle() -> None:
    """Imports for types alone and inside functions count too."""
    assert circles(module_imports(ROOT / "app")) == []


def test_an_arrow_up_and_a_circle_are_noticed(tmp_path: Path) -> None:
    """The check sees an arrow up and a circle where there is one."""
    for name, text in {
        "engine/model/low.py": "from engine.runtime.high import Runner\n",
        "engine/runtime/high.py": "from engine.model import low\n",
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, "utf-8")
    found = module_imports(tmp_path / "engine")
    assert upward(found, ENGINE_ORDER) == ["engine.model.low imports engine.runtime.high"]
    assert circles(found) == [["engine.model.low", "engine.runtime.high"]]


def test_the_drawing_has_every_package_and_arrow() -> None:
    """A box a package, a line an import; one that leads up is red."""
    arrows = package_arrows(module_imports(ROOT / "engine"))
    drawn = drawing(arrows, ENGINE_ORDER)
    assert drawn.count("<line") == sum(len(others) for others in arrows.values())
    assert all(f">{name}</text>" in drawn for floor in ENGINE_ORDER for name in floor)
    assert "#c62828" not in drawn
    assert "#c62828" in drawing({"model": ["runtime"]}, ENGINE_ORDER)

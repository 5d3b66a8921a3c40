"""Tests mirror the packages file by file; a module without a test of its own has a reason."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tests.architecture.mirror import BY_HAND, DATA, PARTS, WITHOUT_MODULE
from tests.support.checkout import ROOT

PACKAGES = ("engine", "app", "demo_audio")
TESTS = ROOT / "tests"


def modules() -> Iterator[str]:
    """Every module, as a path without its ending."""
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            if not path.stem.startswith("__"):
                yield path.relative_to(ROOT).with_suffix("").as_posix()


def own_test(module: str) -> str:
    """Where the module's own test is to lie, below tests/."""
    folder, _, name = module.rpartition("/")
    return f"{folder}/test_{name}"


def listed() -> list[str]:
    """All modules that are listed as having no test of their own."""
    return [m for names in (DATA, *PARTS.values(), BY_HAND) for m in names.split()]


def test_every_module_has_a_test_or_a_reason() -> None:
    """A module has a test where it is looked for, or stands in the list."""
    have = {module for module in modules() if (TESTS / f"{own_test(module)}.py").exists()}
    without = sorted(set(modules()) - have - set(listed()))
    assert not without, f"give each a test, or a line in mirror.py: {' '.join(without)}"
    assert sorted(have & set(listed())) == [], "has a test of its own by now"


def test_the_list_is_of_today() -> None:
    """What the list names exists, once."""
    assert sorted(set(listed()) - set(modules())) == []
    assert [m for m, times in Counter(listed()).items() if times > 1] == []
    assert [test for test in PARTS if not (TESTS / test).exists()] == []


def test_every_test_has_a_module_or_a_subject() -> None:
    """A test below the packages' names is of a module that exists, or says of what it is."""
    tests = {
        path.relative_to(TESTS).with_suffix("").as_posix()
        for package in PACKAGES
        for path in (TESTS / package).rglob("test_*.py")
    }
    homeless = tests - {own_test(module) for module in modules()}
    unknown = sorted(homeless - set(WITHOUT_MODULE))
    assert not unknown, f"name each after its module, or say in mirror.py of what: {unknown}"
    assert sorted(set(WITHOUT_MODULE) - homeless) == []

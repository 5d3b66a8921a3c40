"""The tuned constants of a detector's modules, and the detector with one of them moved.

A constant is a plain number that a module names (`NAME: Final = 3.0`) or that a constructor takes
as a default. It is moved by a share of it, a fifth unless told otherwise; where a share or a
correlation would pass 1, by as much of what it lacks to 1; a level in dBFS, whose zero is a
convention, by 10 dB times that share; a whole number by one at least.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from types import ModuleType
from typing import Any, Final

from engine.detectors.registry import DETECTORS
from tests.support.checkout import ROOT

PACKAGE: Final = "engine.detectors"
SHARED: Final = frozenset({"base", "bank", "guard", "registry", "sample_bank", "tick_group"})
"""Modules that are no detector's own."""
STEP: Final = 0.2
LEVEL_DB: Final = 10.0
"""A level is moved by a share of this."""

Number = int | float


@dataclass(frozen=True, slots=True)
class Constant:
    """One number: its module's name in `engine.detectors`, its own, and where it is written."""

    module: str
    name: str
    value: Number
    line: int
    column: int

    def moved(self, share: float) -> Number:
        """The value moved by that share of it, up or down (negative)."""
        if self.name.lower().endswith("dbfs"):
            return self.value + share * LEVEL_DB
        if isinstance(self.value, int):
            step = max(1, round(abs(share * self.value)))
            return max(0, self.value + (step if share > 0.0 else -step))
        if 0.0 < self.value < 1.0 <= self.value * (1.0 + abs(share)):
            return 1.0 - (1.0 - self.value) * (1.0 - share)
        return self.value * (1.0 + share)


def modules_of(fault: str, commit: str = "") -> tuple[str, ...]:
    """The detector's own modules, those that others import first; as they were in a commit."""
    ordered: list[str] = []

    def add(module: str) -> None:
        for node in _tree(module, commit).body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(f"{PACKAGE}."):
                name = str(node.module).removeprefix(f"{PACKAGE}.")
                if name not in SHARED and name not in ordered:
                    add(name)
        ordered.append(module)

    add(DETECTORS[fault].__module__.removeprefix(f"{PACKAGE}."))
    return tuple(ordered)


def constants_of(module: str) -> list[Constant]:
    """All of one module, in its order."""
    tree = _tree(module)
    found = []
    for node in tree.body:
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            found += list(_constants(module, node.target.id, node.value))
    for part in ast.walk(tree):
        if isinstance(part, ast.FunctionDef) and part.name == "__init__":
            for argument, default in zip(part.args.kwonlyargs, part.args.kw_defaults, strict=True):
                found += list(_constants(module, argument.arg, default))
    return found


def _tree(module: str, commit: str = "") -> ast.Module:
    path = f"engine/detectors/{module}.py"
    if not commit:
        return ast.parse((ROOT / path).read_text(encoding="utf-8"))
    command = ["git", "show", f"{commit}:{path}"]
    return ast.parse(subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout)


def _constants(module: str, name: str, node: ast.expr | None) -> Iterator[Constant]:
    sign = 1
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        sign, node = -1, node.operand
    if not isinstance(node, ast.Constant) or isinstance(node.value, bool):
        return
    if isinstance(node.value, (int, float)):
        yield Constant(module, name, sign * node.value, node.lineno, node.col_offset)


def detector_with(
    fault: str, constant: Constant | None = None, value: Number = 0, commit: str = ""
) -> Any:
    """The class of that fault's detector, made anew with that constant at that value, or as it was
    in a commit.

    All modules of the detector are run again from their source, so that what is reckoned from a
    constant when they are imported follows it; then those of the program are put back.
    """
    modules = modules_of(fault, commit)
    names = [f"{PACKAGE}.{module}" for module in modules]
    before = {name: sys.modules.get(name) for name in names}
    try:
        for name, module in zip(names, modules, strict=True):
            tree = _tree(module, commit)
            if constant is not None and constant.module == module:
                _Put(constant, value).visit(tree)
            made = ModuleType(name)
            sys.modules[name] = made
            exec(compile(ast.fix_missing_locations(tree), name, "exec"), made.__dict__)
        return getattr(sys.modules[names[-1]], DETECTORS[fault].__name__)
    finally:
        for name, module_before in before.items():
            if module_before is None:
                del sys.modules[name]
            else:
                sys.modules[name] = module_before


class _Put(ast.NodeTransformer):
    """Puts a value where a constant is written."""

    def __init__(self, constant: Constant, value: Number) -> None:
        self._place = (constant.line, constant.column)
        self._value = abs(value) if constant.value < 0 else value

    def visit_Constant(self, node: ast.Constant) -> ast.Constant:
        """The one at that place; all others stay."""
        here = (node.lineno, node.col_offset) == self._place
        return ast.copy_location(ast.Constant(self._value), node) if here else node

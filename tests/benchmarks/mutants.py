"""How many small mistakes the tests of the detectors and alarms would notice: mutation testing.

    python -m tests.benchmarks.mutants --count 20 --seed 3
    python -m tests.benchmarks.mutants --only engine/detectors/hum --count 50

Each mutant is one change to one expression of one module: a number moved, a comparison turned, a
condition negated, an early return taken out (DeMillo, Lipton, Sayward, "Hints on test data
selection", IEEE Computer 11(4), 1978). It lies in a copy of the checkout in which the tests that
mirror the module run; a mutant is killed where they fail or take too long, and alive where they
pass. Prints one line a mutant and the share that died.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.architecture.mirror import DATA, PARTS
from tests.support.checkout import ROOT

FOLDERS: Final = ("engine/detectors", "engine/alarms")
TURNED: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
LIMIT_S: Final = 300.0


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: `kind` to the node with that number in the order of `ast.walk`."""

    module: str
    node: int
    kind: str
    line: int
    change: str


def mutants_of(module: str, source: str) -> Iterator[Mutant]:
    """Every mutant of a module; docstrings, annotations and slots are left alone."""
    tree = ast.parse(source)
    spared = _spared(tree)
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in spared:
            continue
        for kind, change in _changes(node):
            yield Mutant(module, number, kind, getattr(node, "lineno", 0), change)


def _spared(tree: ast.AST) -> set[int]:
    """Nodes whose change would mean nothing: in annotations, decorators and `__slots__`."""
    parts: list[ast.AST] = []
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            parts += node.decorator_list
        for name in ("annotation", "returns"):
            annotation = getattr(node, name, None)
            if isinstance(annotation, ast.AST):
                parts.append(annotation)
    return {id(inner) for part in parts for inner in ast.walk(part)}


def _changes(node: ast.AST) -> Iterator[tuple[str, str]]:
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        yield "constant", f"{node.value} -> {_moved(node.value)}"
    elif isinstance(node, ast.Compare) and type(node.ops[0]) in TURNED:
        new = TURNED[type(node.ops[0])]
        yield "comparison", f"{type(node.ops[0]).__name__} -> {new.__name__}"
    elif isinstance(node, ast.If):
        yield "condition", f"if {ast.unparse(node.test)[:40]} -> if not"
        if isinstance(node.body[-1], (ast.Return, ast.Continue)) and not node.orelse:
            yield "early return", f"without: {ast.unparse(node.test)[:40]}"


def _moved(value: int | float) -> int | float:
    """True to False, a whole number by one, another by a half of itself, nought to one."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    return value * 1.5 if value else 1.0


def mutated(source: str, mutant: Mutant) -> str:
    """The module's source with that one change."""
    tree = ast.parse(source)
    node = next(n for number, n in enumerate(ast.walk(tree)) if number == mutant.node)
    if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        node.value = _moved(node.value)
    elif isinstance(node, ast.Compare):
        node.ops[0] = TURNED[type(node.ops[0])]()
    elif isinstance(node, ast.If) and mutant.kind == "condition":
        node.test = ast.UnaryOp(ast.Not(), node.test)
    elif isinstance(node, ast.If):
        node.test = ast.Constant(False)
    return ast.unparse(ast.fix_missing_locations(tree))


def tests_of(module: str) -> list[str]:
    """The test files that mirror a module: of its own name, and those named to drive it."""
    folder, _, stem = module.rpartition("/")
    own = f"tests/{folder}/test_{stem}.py"
    named = [f"tests/{test}" for test, parts in PARTS.items() if module in parts.split()]
    files = [path for path in (own, *named) if (ROOT / path).exists()]
    return files if files or module in DATA.split() else [f"tests/{folder}"]


def sample(only: str, count: int, seed: int) -> list[Mutant]:
    """So many mutants, drawn by seed from all of the modules whose path begins with `only`."""
    everyone: list[Mutant] = []
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).glob("*.py")):
            module = path.relative_to(ROOT).as_posix().removesuffix(".py")
            if module.startswith(only) and tests_of(module):
                everyone += mutants_of(module, path.read_text(encoding="utf-8"))
    return random.Random(seed).sample(everyone, min(count, len(everyone)))


def verdict(mutant: Mutant, copy: Path) -> str:
    """Put the mutant into the copy, run the tests that mirror it, take it out again."""
    path = copy / f"{mutant.module}.py"
    source = path.read_text(encoding="utf-8")
    path.write_text(mutated(source, mutant), encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider"]
    environment = os.environ | {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        run = subprocess.run(
            [*command, *tests_of(mutant.module)],
            cwd=copy,
            env=environment,
            capture_output=True,
            timeout=LIMIT_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return "killed"
    finally:
        path.write_text(source, encoding="utf-8")
    return "alive" if run.returncode == 0 else "killed"


def main(argv: Sequence[str] | None = None) -> int:
    """Draw, run, print; 0 always: the share is the result."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="beginning of a module's path")
    arguments = parser.parse_args(argv)
    verdicts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder, "checkout")
        spare = shutil.ignore_patterns(".git", ".artefacts", ".venv", "__pycache__", ".*_cache")
        shutil.copytree(ROOT, copy, ignore=spare)
        for mutant in sample(arguments.only, arguments.count, arguments.seed):
            says = verdict(mutant, copy)
            verdicts[says] += 1
            print(
                f"{says:6} {mutant.module}:{mutant.line} {mutant.kind}: {mutant.change}", flush=True
            )
    total = sum(verdicts.values())
    share = 100.0 * verdicts["killed"] / total if total else 0.0
    print(f"{verdicts['killed']} of {total} killed ({share:.0f} %), {verdicts['alive']} alive")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

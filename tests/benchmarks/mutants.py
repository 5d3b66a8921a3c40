"""How many small mistakes the tests of the detectors and alarms would notice: mutation testing.

    python -m tests.benchmarks.mutants --count 20 --seed 3
    python -m tests.benchmarks.mutants --only engine/detectors/hum --count 50

Each mutant is one change to one expression of one module: a number moved, a comparison turned, a
condition negated, an early return taken out (DeMillo, Lipton, Sayward, "Hints on test data
selection", IEEE Computer 11(4), 1978). It lies in a copy of the checkout in which those tests run
that a change to its module would rightly run. First they run without a mutant: they have to be
green, and the time that they take sets the limit. A mutant is killed where a test fails (exit code
1 of pytest) and alive where all pass; one that takes too long counts as neither, and anything else
is an error of the run itself. Prints one line a mutant and the share that died. Needs a system
that can fork.
"""

from __future__ import annotations

import argparse
import ast
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

import hypothesis.strategies  # noqa: F401  (imported here, it need not be in every fork)
import pytest

from engine.detectors.registry import DETECTORS
from tests.architecture.imports import module_imports
from tests.architecture.mirror import PARTS
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
LIMIT_TIMES: Final = 3.0
LIMIT_MORE_S: Final = 20.0
"""How long a mutant's tests may take: so many times as without it, and so much more."""
FIRST_RUN_S: Final = 1800.0
LISTS: Final = (
    "engine.detectors.registry",
    "engine.detectors.bank",
    "engine.detectors.sample_bank",
)
"""What knows every detector: its own tests are not those of each of them."""
SHARED: Final = "tests/engine/detectors/test_every_detector.py"
PYTEST: Final = (
    *("-q", "-x", "-p", "no:cacheprovider", "-p", "no:pytest-qt", "-p", "no:xdist"),
    *("-W", "ignore:Unknown config option", "-W", "ignore:Module already imported"),
    *("--hypothesis-seed=0", "--continue-on-collection-errors"),
)
FORK: Final = multiprocessing.get_context("fork")


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: `kind` to the node with that number in the order of `ast.walk`."""

    module: str
    node: int
    kind: str
    line: int
    change: str


def mutants_of(module: str, source: str) -> Iterator[Mutant]:
    """Every mutant of a module; annotations and decorators are left alone."""
    tree = ast.parse(source)
    spared = _spared(tree)
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in spared:
            continue
        for kind, change in _changes(node):
            yield Mutant(module, number, kind, getattr(node, "lineno", 0), change)


def _spared(tree: ast.AST) -> set[int]:
    """Nodes whose change would mean nothing: annotations, decorators, `zip`'s check of lengths."""
    parts: list[ast.AST] = []
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            parts += node.decorator_list
        elif isinstance(node, ast.keyword) and node.arg == "strict":
            parts.append(node.value)
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


def mirrors(module: str) -> list[str]:
    """The test files that mirror a module: of its own name, and those named to drive it."""
    folder, _, stem = module.rpartition("/")
    own = f"tests/{folder}/test_{stem}.py"
    named = [f"tests/{test}" for test, parts in PARTS.items() if module in parts.split()]
    return [path for path in (own, *named) if (ROOT / path).exists()]


@cache
def users(module: str) -> tuple[str, ...]:
    """The module, then those of its package that import it, straight or through others."""
    imports, found = module_imports(ROOT / "engine"), [module.replace("/", ".")]
    package = found[0].rpartition(".")[0]
    for known in found:
        found += [
            name
            for name, others in imports.items()
            if known in others and name not in (*found, *LISTS) and name.startswith(package)
        ]
    return tuple(name.replace(".", "/") for name in found)


@cache
def tests_of(module: str) -> tuple[str, ...]:
    """What pytest is to run for a change to the module, the nearest tests first.

    They are the tests of the module and of what is built on it; for a detector also the checks
    that all detectors share, for its own rules.
    """
    files = [path for name in users(module) for path in mirrors(name)]
    if not module.startswith("engine/detectors/"):
        folder = ROOT / "tests" / Path(module).parent
        files += [path.relative_to(ROOT).as_posix() for path in sorted(folder.glob("test_*.py"))]
    classes = {kind.__module__.replace(".", "/"): rule for rule, kind in DETECTORS.items()}
    rules = [classes[name] for name in users(module) if name in classes]
    if not rules:
        return tuple(dict.fromkeys(files))
    ours = " or ".join(f"[{rule}]" for rule in rules)
    return (*dict.fromkeys(files), SHARED, "-k", f"not {Path(SHARED).stem} or {ours}")


def sample(only: str, count: int, seed: int) -> list[Mutant]:
    """So many mutants, drawn by seed from all of the modules whose path begins with `only`."""
    everyone: list[Mutant] = []
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).glob("*.py")):
            module = path.relative_to(ROOT).as_posix().removesuffix(".py")
            if module.startswith(only):
                everyone += mutants_of(module, path.read_text(encoding="utf-8"))
    drawn = random.Random(seed).sample(everyone, min(count, len(everyone)))
    return sorted(drawn, key=lambda mutant: (mutant.module, mutant.line, mutant.node))


class Laboratory:
    """A copy of the checkout in which mutants are put on trial."""

    def __init__(self, copy: Path) -> None:
        self.copy = copy
        self._limits_s: dict[str, float | None] = {}
        spare = (".git", ".artefacts", ".venv", "__pycache__", ".*_cache", ".hypothesis")
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(*spare))

    def verdict(self, mutant: Mutant) -> str:
        """Put the mutant into the copy, run the tests of its module, take it out again."""
        limit_s = self._limit_s(mutant.module)
        if limit_s is None:
            return "error"
        path = self.copy / f"{mutant.module}.py"
        source, when_ns = path.read_text(encoding="utf-8"), path.stat().st_mtime_ns
        path.write_text(mutated(source, mutant), encoding="utf-8")
        try:
            code, said = self._run(mutant.module, limit_s)
        except TimeoutError:
            return "late"
        finally:
            path.write_text(source, encoding="utf-8")
            os.utime(path, ns=(when_ns, when_ns))
        if code not in (0, 1):
            print(f"pytest ended with {code}:\n{said}", flush=True)
        return {0: "alive", 1: "killed"}.get(code, "error")

    def _limit_s(self, module: str) -> float | None:
        """How long the module's tests may take; None where they fail without any mutant."""
        if module not in self._limits_s:
            begin_s = time.monotonic()
            code, said = self._run(module, FIRST_RUN_S, first=True)
            took_s = time.monotonic() - begin_s
            if code:
                print(f"{module}: red without a mutant (exit code {code}):\n{said}", flush=True)
            limit_s = LIMIT_TIMES * took_s + LIMIT_MORE_S
            self._limits_s[module] = None if code else limit_s
        return self._limits_s[module]

    def _run(self, module: str, limit_s: float, *, first: bool = False) -> tuple[int, str]:
        """Exit code of pytest and the end of what it said, from a fork of this process."""
        with tempfile.TemporaryFile() as out:
            child = FORK.Process(target=_trial, args=(self.copy, module, out.fileno(), first))
            child.start()
            child.join(limit_s)
            if child.exitcode is None:
                child.kill()
                child.join()
                raise TimeoutError
            out.seek(0)
            return child.exitcode, out.read().decode(errors="replace")[-2000:]


def _trial(copy: Path, module: str, out: int, first: bool) -> None:
    """Run pytest in the copy; only the first run leaves bytecode, for a mutant's would outlive it.

    The libraries that this process has imported already need no second import.
    """
    os.dup2(out, 1)
    os.dup2(out, 2)
    os.chdir(copy)
    sys.path.insert(0, str(copy))
    sys.dont_write_bytecode = not first
    for name in [name for name in sys.modules if name.split(".")[0] in ("engine", "tests")]:
        del sys.modules[name]
    code = pytest.main([*PYTEST, *tests_of(module)])
    sys.stdout.flush()
    os._exit(code)


def main(argv: Sequence[str] | None = None) -> int:
    """Draw, run, print; 1 where the run itself went wrong somewhere: the share is the result."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="beginning of a module's path")
    arguments = parser.parse_args(argv)
    verdicts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        laboratory = Laboratory(Path(folder, "checkout"))
        for mutant in sample(arguments.only, arguments.count, arguments.seed):
            says = laboratory.verdict(mutant)
            verdicts[says] += 1
            print(
                f"{says:6} {mutant.module}:{mutant.line} {mutant.kind}: {mutant.change}", flush=True
            )
    total = sum(verdicts.values())
    share = 100.0 * verdicts["killed"] / total if total else 0.0
    print(
        f"{verdicts['killed']} of {total} killed ({share:.0f} %), {verdicts['alive']} alive, "
        f"{verdicts['late']} took too long, {verdicts['error']} not tried for an error"
    )
    return 1 if verdicts["error"] else 0


if __name__ == "__main__":
    raise SystemExit(main())

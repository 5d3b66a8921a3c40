"""How many small mistakes the tests of the detectors and alarms would notice: mutation testing.

    python -m tests.benchmarks.mutants --count 20 --seed 3
    python -m tests.benchmarks.mutants --only engine/detectors/hum --count 50

Each mutant is one change to one expression of one module: a number moved, a comparison turned, a
condition negated, an early return taken out (DeMillo, Lipton, Sayward, "Hints on test data
selection", IEEE Computer 11(4), 1978). It lies in a copy of the checkout in which those tests run
that a change to its module would rightly run. First they run without a mutant: they have to be
green, the time that they take sets the limit, and only those that then reach the changed line are
asked again, the quickest first. A mutant is killed where a test fails (exit code
1 of pytest) and alive where all pass; one that takes too long counts as neither, and anything else
is an error of the run itself. Prints one line a mutant and the share that died. Needs a system
that can fork.
"""

from __future__ import annotations

import argparse
import ast
import random
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from tests.benchmarks.mutant_trials import Laboratory
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


@cache
def source_of(module: str) -> str:
    """The module as it was when it was first asked for; the checkout may be worked on meanwhile."""
    return (ROOT / f"{module}.py").read_text(encoding="utf-8")


def lines_of(mutant: Mutant) -> set[int]:
    """Lines of which a test has to reach one to notice the mutant; none where any test may.

    Those of the statement that it changes, the head alone where others stand under it. What is
    done once on import, no single test reaches.
    """
    tree = ast.parse(source_of(mutant.module))
    node = next(n for number, n in enumerate(ast.walk(tree)) if number == mutant.node)
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        for within in function.body:
            holds = [s for s in ast.walk(within) if isinstance(s, ast.stmt) and node in ast.walk(s)]
            if holds:
                last = max(holds, key=lambda s: s.lineno)
                under = getattr(last, "body", None)
                end = under[0].lineno - 1 if under else last.end_lineno
                return set(range(last.lineno, max(last.lineno, end or 0) + 1))
    return set()


def mutated_source(mutant: Mutant) -> str:
    """The module's source with that one change."""
    tree = ast.parse(source_of(mutant.module))
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


def sample(only: str, count: int, seed: int) -> list[Mutant]:
    """So many mutants, drawn by seed from all of the modules whose path begins with `only`."""
    everyone: list[Mutant] = []
    for folder in FOLDERS:
        for path in sorted((ROOT / folder).glob("*.py")):
            module = path.relative_to(ROOT).as_posix().removesuffix(".py")
            if module.startswith(only):
                everyone += mutants_of(module, source_of(module))
    drawn = random.Random(seed).sample(everyone, min(count, len(everyone)))
    return sorted(drawn, key=lambda mutant: (mutant.module, mutant.line, mutant.node))


def main(argv: Sequence[str] | None = None) -> int:
    """Draw, run, print; 1 where the run itself went wrong somewhere: the share is the result."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="beginning of a module's path")
    arguments = parser.parse_args(argv)
    verdicts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        drawn = sample(arguments.only, arguments.count, arguments.seed)
        modules = {mutant.module for mutant in drawn}
        laboratory = Laboratory(Path(folder, "checkout"), modules)
        for mutant in drawn:
            says = laboratory.verdict(mutant.module, lines_of(mutant), mutated_source(mutant))
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

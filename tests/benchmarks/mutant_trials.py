"""The trial of a mutant: the tests that its module would rightly run, in a copy of the checkout."""

from __future__ import annotations

import json
import math
import multiprocessing
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any, Final

import hypothesis.strategies  # noqa: F401  (imported here, it need not be in every fork)
import pytest

from engine.detectors.registry import DETECTORS
from tests.architecture.imports import module_imports
from tests.architecture.mirror import PARTS
from tests.support.checkout import ROOT

LIMIT_TIMES: Final = 3.0
LIMIT_MORE_S: Final = 20.0
"""What a mutant's tests may cost in CPU: so many times as without it, and so much more."""
FIRST_RUN_S: Final = 1800.0
WAITING_TIMES: Final = 20
"""Beside other work a second of CPU may take so many of the clock; longer, it only waits."""
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


@dataclass(frozen=True, slots=True)
class Reached:
    """One test without a mutant: what it cost in CPU, and which lines of each module it reached."""

    test: str
    took_s: float
    lines: Mapping[str, Collection[int]]


class Laboratory:
    """A copy of the checkout in which mutants are put on trial."""

    def __init__(self, copy: Path, modules: Collection[str]) -> None:
        self.copy = copy
        self._tests = {module: tests_of(module) for module in modules}
        self._reached: dict[frozenset[str], list[Reached]] = {}
        spare = (".git", ".artefacts", ".venv", "__pycache__", ".*_cache", ".hypothesis")
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(*spare))

    def verdict(self, module: str, lines: set[int], mutated: str) -> str:
        """Put the mutant into the copy, run the tests that reach its lines, take it out again."""
        asked = frozenset(self._tests[module])
        if asked not in self._reached:
            self._reached[asked] = self._first_run(module)
        reached = self._reached[asked]
        if not reached:
            return "error"
        name = str(self.copy / f"{module}.py")
        tests = [test for test in reached if not lines or lines & set(test.lines.get(name, ()))]
        if not tests:
            return "alive"
        path = self.copy / f"{module}.py"
        source, when_ns = path.read_text(encoding="utf-8"), path.stat().st_mtime_ns
        path.write_text(mutated, encoding="utf-8")
        limit_s = LIMIT_TIMES * sum(test.took_s for test in tests) + LIMIT_MORE_S
        try:
            code, said = self._run(self._tests[module], limit_s, Only([t.test for t in tests]))
        except TimeoutError:
            return "late"
        finally:
            path.write_text(source, encoding="utf-8")
            os.utime(path, ns=(when_ns, when_ns))
        if code not in (0, 1):
            print(f"pytest ended with {code}:\n{said}", flush=True)
        return {0: "alive", 1: "killed"}.get(code, "error")

    def _first_run(self, module: str) -> list[Reached]:
        """Each test of the module, the quickest first; none where one fails without any mutant."""
        found = self.copy / "reached.json"
        reach = Reach(self.copy / module, found)
        try:
            code, said = self._run(self._tests[module], FIRST_RUN_S, reach)
        except TimeoutError:
            code, said = -1, f"not done after {FIRST_RUN_S:.0f} s of CPU"
        if code:
            print(f"{module}: red without a mutant (exit code {code}):\n{said}", flush=True)
            return []
        rows = json.loads(found.read_text(encoding="utf-8"))
        return sorted((Reached(*row) for row in rows), key=lambda test: test.took_s)

    def _run(self, tests: Sequence[str], limit_s: float, plugin: Reach | Only) -> tuple[int, str]:
        """Exit code of pytest and the end of what it said, from a fork of this process."""
        with tempfile.TemporaryFile() as out:
            what = (self.copy, tests, out.fileno(), plugin, limit_s)
            child = FORK.Process(target=_trial, args=what)
            child.start()
            child.join(WAITING_TIMES * limit_s)
            if child.exitcode is None:
                child.kill()
                child.join()
            if child.exitcode in (-signal.SIGKILL, -signal.SIGXCPU):
                raise TimeoutError
            out.seek(0)
            return child.exitcode, out.read().decode(errors="replace")[-2000:]


def _trial(
    copy: Path, tests: Sequence[str], out: int, plugin: Reach | Only, limit_s: float
) -> None:
    """Run pytest in the copy; only the first run leaves bytecode, for a mutant's would outlive it.

    The libraries that this process has imported already need no second import.
    """
    resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(limit_s), resource.RLIM_INFINITY))
    os.dup2(out, 1)
    os.dup2(out, 2)
    os.chdir(copy)
    sys.path.insert(0, str(copy))
    sys.dont_write_bytecode = isinstance(plugin, Only)
    for name in [name for name in sys.modules if name.split(".")[0] in ("engine", "tests")]:
        del sys.modules[name]
    code = pytest.main([*PYTEST, *tests], plugins=[plugin])
    sys.stdout.flush()
    os._exit(code)


class Only:
    """Part of pytest that runs those tests alone, in that order.

    Named to pytest itself, they would be unknown where a mutant lets no import end.
    """

    def __init__(self, tests: Sequence[str]) -> None:
        self._rank = {test: rank for rank, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Leave the others out."""
        ours = [item for item in items if item.nodeid in self._rank]
        items[:] = sorted(ours, key=lambda item: self._rank[item.nodeid])


class Reach:
    """Part of pytest that notes which lines each test reaches in the modules of one folder."""

    def __init__(self, module: Path, into: Path) -> None:
        self._folder, self._into = f"{module.parent}{os.sep}", into
        self._lines: defaultdict[str, set[int]] = defaultdict(set)
        self._rows: list[tuple[str, float, dict[str, list[int]]]] = []

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Follow one test."""
        self._lines.clear()
        begin_s = time.process_time()
        sys.settrace(self._enter)
        try:
            return (yield)
        finally:
            sys.settrace(None)
            took_s = time.process_time() - begin_s
            lines = {file: sorted(reached) for file, reached in self._lines.items()}
            self._rows.append((item.nodeid, took_s, lines))

    def pytest_sessionfinish(self) -> None:
        """Write what all tests reached, as JSON."""
        self._into.write_text(json.dumps(self._rows), encoding="utf-8")

    def _enter(self, frame: FrameType, event: str, arg: object) -> Callable[..., Any] | None:
        file = frame.f_code.co_filename
        return self._line if file.startswith(self._folder) else None

    def _line(self, frame: FrameType, event: str, arg: object) -> Callable[..., Any]:
        self._lines[frame.f_code.co_filename].add(frame.f_lineno)
        return self._line

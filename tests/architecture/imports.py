"""Who imports whom: read from the code, held against the order of packages, drawn as text.

python -m tests.architecture.imports              prints each package and what it imports
python -m tests.architecture.imports --svg FILE   draws the engine's packages, floor above floor
"""

from __future__ import annotations

import argparse
import ast
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from tests.support.checkout import ROOT

ENGINE_ORDER: Final = (
    ("model", "system"),
    ("plan", "sources", "inject", "timecode"),
    ("measure",),
    ("detectors", "listen", "early_signs", "pickup"),
    ("alarms",),
    ("session",),
    ("line_check",),
    ("pipeline",),
    ("report",),
    ("drill", "verify"),
    ("runtime",),
)
"""A package imports only from the floors before its own; packages of one floor do not know each
other."""

APP_ORDER: Final = (
    ("style", "setup"),
    ("models",),
    ("alerts", "report", "fleet"),
    ("page",),
    ("services",),
    ("views",),
    ("controllers",),
    ("window",),
    ("cli",),
)
"""The same for the window and the commands; `app/start.py` stands outside."""

Imports = Mapping[str, frozenset[str]]
"""The modules of the same package that each module imports."""


def module_imports(package: Path) -> Imports:
    """Imports among the modules below that folder, also inside functions and for types alone."""
    root = package.parent
    modules = {_name(path, root): path for path in sorted(package.rglob("*.py"))}
    return {name: frozenset(_resolve(path, modules)) - {name} for name, path in modules.items()}


def upward(imports: Imports, order: Sequence[Sequence[str]]) -> list[str]:
    """Each import against the order, in words."""
    floors = {name: floor for floor, names in enumerate(order) for name in names}
    wrong = []
    for module, others in imports.items():
        for other in sorted(others):
            here, there = _package(module), _package(other)
            if here != there and here and there and floors[there] >= floors[here]:
                wrong.append(f"{module} imports {other}")
    return wrong


def circles(imports: Imports) -> list[list[str]]:
    """Groups of modules that import each other in a loop (Tarjan's strong components)."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    made: list[list[str]] = []

    def visit(module: str) -> None:
        index[module] = low[module] = len(index)
        stack.append(module)
        for other in sorted(imports.get(module, ())):
            if other not in index:
                visit(other)
                low[module] = min(low[module], low[other])
            elif other in stack:
                low[module] = min(low[module], index[other])
        if low[module] == index[module]:
            group = [stack.pop()]
            while group[-1] != module:
                group.append(stack.pop())
            if len(group) > 1:
                made.append(sorted(group))

    for module in imports:
        if module not in index:
            visit(module)
    return made


def package_arrows(imports: Imports) -> dict[str, list[str]]:
    """Which packages each package imports."""
    arrows: dict[str, set[str]] = {}
    for module, others in imports.items():
        here = _package(module)
        if here:
            arrows.setdefault(here, set()).update(_package(other) for other in others)
    return {here: sorted(there - {here, ""}) for here, there in arrows.items()}


def _package(module: str) -> str:
    parts = module.split(".")
    return parts[1] if len(parts) > 2 else ""


def _name(path: Path, root: Path) -> str:
    return ".".join(path.relative_to(root).with_suffix("").parts).removesuffix(".__init__")


def _resolve(path: Path, modules: Mapping[str, Path]) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in modules)
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                if whole in modules:
                    yield whole
                elif node.module in modules:
                    yield node.module


BOX: Final = (124, 34)
GAP: Final = (26, 46)


def drawing(arrows: Mapping[str, Sequence[str]], order: Sequence[Sequence[str]]) -> str:
    """An SVG of the floors, the lowest at the foot; an arrow up is red."""
    width = max(map(len, order)) * (BOX[0] + GAP[0]) + GAP[0]
    height = len(order) * (BOX[1] + GAP[1]) + GAP[1]
    boxes = {}
    for floor, names in enumerate(order):
        left = (width - len(names) * (BOX[0] + GAP[0]) + GAP[0]) / 2
        for n, name in enumerate(names):
            boxes[name] = left + n * (BOX[0] + GAP[0]), height - (floor + 1) * (BOX[1] + GAP[1])
    floors = {name: floor for floor, names in enumerate(order) for name in names}
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">',
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
        '<g font-family="sans-serif" font-size="14" text-anchor="middle">',
    ]
    for here, others in sorted(arrows.items()):
        for there in others:
            (x1, y1), (x2, y2) = boxes[here], boxes[there]
            colour = "#9aa5b1" if floors[there] < floors[here] else "#c62828"
            ends = f'x1="{x1 + BOX[0] / 2}" y1="{y1 + BOX[1]}" x2="{x2 + BOX[0] / 2}" y2="{y2}"'
            lines.append(f'<line {ends} stroke="{colour}"/>')
    for name, (x, y) in boxes.items():
        size = f'width="{BOX[0]}" height="{BOX[1]}"'
        lines.append(f'<rect x="{x}" y="{y}" {size} rx="5" fill="#e8edf2" stroke="#52606d"/>')
        lines.append(f'<text x="{x + BOX[0] / 2}" y="{y + 22}">{name}</text>')
    return "\n".join([*lines, "</g>", "</svg>", ""])


def main() -> None:
    """Print the packages of engine and app, each with what it imports; or draw the engine's."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--svg", metavar="FILE", type=Path)
    into = parser.parse_args().svg
    if into is not None:
        arrows = package_arrows(module_imports(ROOT / "engine"))
        into.write_text(drawing(arrows, ENGINE_ORDER), encoding="utf-8")
        return
    for package in ("engine", "app"):
        print(package)
        for here, there in sorted(package_arrows(module_imports(ROOT / package)).items()):
            print(f"  {here:<12} → {', '.join(there) or '–'}")


if __name__ == "__main__":
    main()

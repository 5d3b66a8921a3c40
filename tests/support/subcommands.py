"""Runs one of several scripts by its name: `python -m PACKAGE NAME [ARGUMENTS]`."""

from __future__ import annotations

import ast
import importlib.util
import sys
from collections.abc import Mapping
from pathlib import Path


def run(package: str, scripts: Mapping[str, str]) -> int:
    """The script that the first argument names gets the other arguments.

    scripts : the module below `package` that each name stands for; it has a `main`
    """
    name = sys.argv[1] if len(sys.argv) > 1 else ""
    if name not in scripts:
        print(f"python -m {package} {{{','.join(scripts)}}} …", file=sys.stderr)
        for word, module in scripts.items():
            found = importlib.util.find_spec(f"{package}.{module}")
            text = Path(found.origin).read_text("utf-8") if found and found.origin else ""
            print(f"  {word:<10} {(ast.get_docstring(ast.parse(text)) or '').splitlines()[0]}")
        return 0 if name in ("-h", "--help") else 2
    sys.argv[:2] = [f"{package} {name}"]
    return importlib.import_module(f"{package}.{scripts[name]}").main() or 0

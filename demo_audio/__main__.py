"""`python -m demo_audio [DIR]`: render the demo take on purpose."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from demo_audio import DemoTakeError, demo_take


def main() -> int:
    """Render where told, print the three paths; exit 2 if they cannot be written."""
    parser = argparse.ArgumentParser(prog="python -m demo_audio", description=__doc__)
    parser.add_argument("dir", nargs="?", type=Path, help="folder to keep it in (default: cache)")
    parser.add_argument("--healthy", action="store_true", help="the same take with no faults")
    options = parser.parse_args()
    try:
        files = demo_take(options.dir, lambda line: print(line, file=sys.stderr), options.healthy)
    except DemoTakeError as error:
        print(error, file=sys.stderr)
        return 2
    print(files.take, files.plan, files.truth, sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

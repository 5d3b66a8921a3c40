"""A drill in the terminal: trackwarden alone answers, and the summary says what it found."""

from __future__ import annotations

import sys

from app.console import print_all
from engine.client import EngineClient
from engine.commands import Open
from engine.drill.finish import finish
from engine.drill.sheet import again, lines


def drill_in_terminal(request: Open, take: str) -> bool:
    """Run it to the end or to Ctrl+C; returns whether there was anything to score.

    OSError where it can't be opened.
    """
    client = EngineClient(request, "terminal")
    if print_all(client) is None:
        return False
    done = finish(client.folder, crew=False)
    print("\n".join(lines(done.drill, crew=False)))
    print(f"to print: {done.page}", file=sys.stderr)
    print(f"the same again: {again(done.drill, take)}", file=sys.stderr)
    return True

"""A drill in the terminal: trackwarden alone answers, and the summary says what it found."""

from __future__ import annotations

import argparse
import sys

from app.cli.companions import Companions
from app.cli.watch_command import print_all
from engine.drill.finish import finish
from engine.drill.score_sheet import again, lines
from engine.model.commands import Open
from engine.runtime.client import EngineClient


def drill_in_terminal(request: Open, arguments: argparse.Namespace) -> bool:
    """Run it to the end or to Ctrl+C; returns whether there was anything to score.

    OSError where it can't be opened.
    """
    client = EngineClient(request, "terminal")
    if print_all(client, Companions(arguments, client), drill=True) is None:
        return False
    outcome = finish(client.folder, crew=False)
    print("\n".join(lines(outcome.drill, crew=False)))
    print(f"to print: {outcome.page}", file=sys.stderr)
    print(f"the same again: {again(outcome.drill, arguments.take)}", file=sys.stderr)
    return True

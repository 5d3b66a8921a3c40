"""Arguments that several commands share, and what may stand for a number."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, TypedDict

if TYPE_CHECKING:  # it has no public name
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]

Run = Callable[[argparse.Namespace], int]
"""What a command does; returns the exit status."""


DEMO: Final = "demo"
"""Stands for the demo take."""

TAKE_HELP: Final = (
    "a multichannel WAV or FLAC, a folder of mono files, or the word demo for the demo take"
)


class Take(TypedDict):
    """A take by its path, or the demo take."""

    take: str | None
    demo: bool


def seed(text: str) -> int:
    """The number of a drill."""
    if not text.isdecimal() or len(text) > 9:
        raise argparse.ArgumentTypeError(f"{text!r}: give a whole number of at most nine digits")
    return int(text)


def add_json(parser: argparse.ArgumentParser) -> None:
    """One document on standard output."""
    parser.add_argument("--json", action="store_true", help="print one JSON document, nothing else")


def add_json_lines(parser: argparse.ArgumentParser) -> None:
    """A document a line instead of a window."""
    parser.add_argument(
        "--json-lines",
        action="store_true",
        help="no window: a line of JSON for each state change, as it happens",
    )


def command(
    commands: Commands,
    name: str,
    run: Run | None,
    text: str,
    example: str,
) -> argparse.ArgumentParser:
    """Add a command: its name, what it does, one line of help and one example."""
    parser = commands.add_parser(
        name, help=text, description=text[0].upper() + text[1:] + ".", epilog=f"example: {example}"
    )
    if run is not None:
        parser.set_defaults(run=run)
    return parser


def add_plan(parser: argparse.ArgumentParser) -> None:
    """The plan."""
    parser.add_argument("--plan", metavar="P", help="plan file; without one every track is a lav")


def add_paper(parser: argparse.ArgumentParser) -> None:
    """The size of a page."""
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="for the PDF (default a4)"
    )


def add_console(parser: argparse.ArgumentParser) -> None:
    """The terminal instead of a window."""
    parser.add_argument(
        "--console",
        action="store_true",
        help="no window: one line a state change, a summary at the end",
    )


def count(text: str) -> int:
    """A number of things."""
    if not text.isdecimal() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"{text!r}: give a whole number from 1 to 256")
    return int(text)


def positive(text: str) -> float:
    """A number above 0."""
    value = not_negative(text)
    if value == 0.0:
        raise argparse.ArgumentTypeError("must be above 0")
    return value


def not_negative(text: str) -> float:
    """A number from 0 on, finite."""
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number") from None
    if not 0.0 <= value < 1e9:
        raise argparse.ArgumentTypeError("must be 0 or more, and finite")
    return value


def take_of(word: str | None) -> Take:
    """What stands for a take, as `Open` wants it."""
    return {"take": None, "demo": True} if word == DEMO else {"take": word, "demo": False}

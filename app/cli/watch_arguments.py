"""Arguments of the commands that watch: live, a take in real time, a drill."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from app.cli import companions
from app.cli.argument_parts import (
    TAKE_HELP,
    add_console,
    add_json_lines,
    add_plan,
    command,
    not_negative,
    positive,
    seed,
)

if TYPE_CHECKING:
    from app.cli.argument_parts import Commands, Run


def watch_command(commands: Commands, does: Mapping[str, Run]) -> None:
    """Its arguments."""
    watch = command(
        commands,
        "watch",
        does["watch"],
        "watch a live input",
        "trackwarden watch --device 16ch --plan tonight.toml",
    )
    watch.add_argument("--device", metavar="D", help="index or part of the name (see `devices`)")
    add_plan(watch)
    add_console(watch)
    add_json_lines(watch)
    companions.add_options(watch)


def replay_command(commands: Commands, does: Mapping[str, Run]) -> None:
    """Its arguments."""
    replay = command(
        commands,
        "replay",
        does["replay"],
        "play a recorded take through the same watch, in real time",
        "trackwarden replay take12.wav --plan tonight.toml --from 90",
    )
    replay.add_argument("take", metavar="TAKE", help=TAKE_HELP)
    add_plan(replay)
    replay.add_argument(
        "--speed", type=positive, default=1.0, metavar="X", help="X times real time (default 1)"
    )
    replay.add_argument("--loop", action="store_true", help="begin again at the end")
    replay.add_argument(
        "--from",
        dest="start_s",
        type=not_negative,
        default=0.0,
        metavar="S",
        help="begin S seconds into the take",
    )
    replay.add_argument(
        "--follow",
        action="store_true",
        help="the take is still being written: watch it as it grows, at real time",
    )
    add_console(replay)
    add_json_lines(replay)
    companions.add_options(replay)


def drill_command(commands: Commands, does: Mapping[str, Run]) -> None:
    """Its arguments."""
    drill = command(
        commands,
        "drill",
        does["drill"],
        "rehearse: replay a healthy take with faults put in, and score the crew",
        "trackwarden drill demo --level hard --seed 7",
    )
    drill.add_argument("take", metavar="TAKE", help=TAKE_HELP)
    add_plan(drill)
    drill.add_argument(
        "--seed",
        type=seed,
        metavar="N",
        help="the same N gives the same drill (default: a new one)",
    )
    drill.add_argument(
        "--level",
        choices=("easy", "real", "hard"),
        default="real",
        help="number, strength and overlap of the faults (default real)",
    )
    drill.add_argument(
        "--blind", action="store_true", help="the board shows levels only: no colours, no list"
    )
    drill.add_argument(
        "--speed", type=positive, default=1.0, metavar="X", help="X times real time (default 1)"
    )
    add_console(drill)
    companions.add_options(drill)

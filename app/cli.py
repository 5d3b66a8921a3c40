"""The command line: arguments and commands. Runs without Qt unless a window is asked for."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from app import display
from engine.commands import Open
from engine.harmless import harmless

OK: Final = 0
RED: Final = 1
FAILED: Final = 2

_DEMO: Final = "demo"

_NO_INPUTS: Final = "no live inputs: connect an interface and check its driver"

_CAUTIONS: Final = (
    "trackwarden helps a mixer look; it is no safety system. Never stop a stunt or a rescue for a "
    "pack. Mind your hearing when you listen close. RF, work and safety rules are local: follow "
    "them, and people licensed in them, first."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit status (0: nothing red, 1: red, 2: could not do it)."""
    from engine.plan import PlanError
    from engine.sources.base import SourceError

    arguments = _parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        return run(arguments)
    except (SourceError, PlanError) as error:
        print(error, file=sys.stderr)
    except BrokenPipeError:  # the reader of our output has seen enough
        sys.stderr.close()
        return OK
    except OSError as error:
        print(f"trackwarden: {error}", file=sys.stderr)
    except KeyboardInterrupt:
        print(file=sys.stderr)
    return FAILED


# ---- what each command does ----------------------------------------------------------------------


def _start_page(arguments: argparse.Namespace) -> int:
    if not display.available():
        print(
            f"trackwarden: {display.why_not()}: use `trackwarden replay demo`, or watch, replay or "
            "scan with --help to see how",
            file=sys.stderr,
        )
        return FAILED
    return _window(None)


def _watch(arguments: argparse.Namespace) -> int:
    device = _only_input() if arguments.device is None else arguments.device
    return _look_at(Open(device=device, plan=arguments.plan), arguments.console)


def _only_input() -> int:
    """The one live input there is; SourceError where the user has to choose."""
    from engine.sources.base import SourceError
    from engine.sources.device import list_inputs

    inputs = list_inputs()
    if len(inputs) == 1:
        return inputs[0].index
    if not inputs:
        raise SourceError(_NO_INPUTS)
    names = ", ".join(f"{device.index} {device.name}" for device in inputs)
    raise SourceError(f"several live inputs: name one with --device: {names}")


def _replay(arguments: argparse.Namespace) -> int:
    request = Open(
        take=None if arguments.take == _DEMO else arguments.take,
        demo=arguments.take == _DEMO,
        plan=arguments.plan,
        speed=arguments.speed,
        loop=arguments.loop,
        start_s=arguments.start_s,
    )
    return _look_at(request, arguments.console)


def _drill(arguments: argparse.Namespace) -> int:
    import secrets

    seed = secrets.randbelow(10_000) if arguments.seed is None else arguments.seed
    request = Open(
        take=None if arguments.take == _DEMO else arguments.take,
        demo=arguments.take == _DEMO,
        plan=arguments.plan,
        speed=arguments.speed,
        seed=seed,
        level=arguments.level,
        blind=arguments.blind,
    )
    if not arguments.console and display.available():
        return _window(request)
    from app.drill_console import drill_in_terminal

    if not arguments.console:
        print(f"trackwarden: {display.why_not()}: drilling in the terminal", file=sys.stderr)
    return OK if drill_in_terminal(request, arguments.take) else FAILED


def _look_at(request: Open, console: bool) -> int:
    if not console and display.available():
        return _window(request)
    from app.console import watch_in_terminal

    if not console:
        print(f"trackwarden: {display.why_not()}: watching in the terminal", file=sys.stderr)
    return RED if watch_in_terminal(request) else OK


def _window(request: Open | None) -> int:
    from engine.client import EngineClient

    # Started first, so that the engine opens the source while Qt is still loading.
    early = []
    if request is None:
        folder, request = _running_watch()
        early = [EngineClient(request, folder=folder)] if request is not None else []
    else:
        early = [EngineClient(request)]

    def client_for(wanted: Open) -> EngineClient:
        return early.pop() if early and wanted is request else EngineClient(wanted)

    from app.window import run_window
    from engine.sources.device import list_inputs

    return run_window(request, client_for, list_inputs)


def _running_watch() -> tuple[Path | None, Open | None]:
    """The live watch that goes on without a window, to be looked at again."""
    from engine.sessions import running_watches

    live = [(folder, running.request) for folder, running in running_watches() if running.live]
    return live[0] if live else (None, None)


def _scan(arguments: argparse.Namespace) -> int:
    from app.scanning import scan_takes

    return scan_takes(
        arguments.takes, arguments.plan, arguments.json, arguments.report, arguments.paper
    )


def _sessions(arguments: argparse.Namespace) -> int:
    from app.sessions_list import print_sessions

    return print_sessions()


def _report(arguments: argparse.Namespace) -> int:
    from app.reporting import Files, session_section, write_report
    from engine.sessions import find_session

    folder = find_session(arguments.session)
    files = Files(arguments.html, arguments.pdf, arguments.csv, arguments.json)
    if files == Files():
        files = Files(html=Path(f"{folder.name}.html"))
    section = session_section(folder)
    write_report([section], files, paper=arguments.paper, bom=not arguments.no_bom)
    for path in filter(None, (files.html, files.pdf, files.csv, files.json)):
        print(f"{harmless(str(path))}: written", file=sys.stderr)
    return OK


def _devices(arguments: argparse.Namespace) -> int:
    from engine.sources.device import list_inputs

    inputs = list_inputs()
    if not inputs:
        print(_NO_INPUTS, file=sys.stderr)
        return FAILED
    print(f"{'index':>5}  {'inputs':>6}  {'rate':>8}  name (host API)")
    for device in inputs:
        rate = f"{device.default_rate_hz / 1000:g} kHz"
        print(
            f"{device.index:>5}  {device.channels:>6}  {rate:>8}  {device.name} ({device.host_api})"
        )
    return OK


def _plan_new(arguments: argparse.Namespace) -> int:
    from engine.opening import plan_of_input, plan_of_take, with_demo

    if arguments.device is not None:
        from engine.sources.device import find_input

        text = plan_of_input(find_input(arguments.device).channels)
    else:
        demo = arguments.take == _DEMO
        path = with_demo(Open(take=None if demo else arguments.take, demo=demo)).take or ""
        text, _ = plan_of_take(path)
    if arguments.output is None:
        print(text, end="")
        return OK
    try:
        with open(arguments.output, "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        print(f"{harmless(arguments.output)}: is there already: give another name", file=sys.stderr)
        return FAILED
    print(f"{harmless(arguments.output)}: written, fill it in", file=sys.stderr)
    return OK


def _plan_check(arguments: argparse.Namespace) -> int:
    from engine.plan import load_plan

    plan = load_plan(arguments.plan)
    count = len(plan.tracks)
    print(f"{harmless(arguments.plan)}: {count} {'track' if count == 1 else 'tracks'}, no mistakes")
    return OK


# ---- what can be typed ---------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="trackwarden",
        description="Watches every track of a live multitrack recording and says within seconds "
        "which mic died, where it sits and what to check first. Without a command: opens the "
        "start page.",
        epilog=_CAUTIONS,
    )
    parser.set_defaults(run=_start_page)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    watch = _command(
        commands,
        "watch",
        _watch,
        "watch a live input",
        "trackwarden watch --device 16ch --plan tonight.toml",
    )
    watch.add_argument("--device", metavar="D", help="index or part of the name (see `devices`)")
    _add_plan(watch)
    _add_console(watch)

    replay = _command(
        commands,
        "replay",
        _replay,
        "play a recorded take through the same watch, in real time",
        "trackwarden replay take12.wav --plan tonight.toml --from 90",
    )
    replay.add_argument("take", metavar="TAKE", help=_TAKE_HELP)
    _add_plan(replay)
    replay.add_argument(
        "--speed", type=_positive, default=1.0, metavar="X", help="X times real time (default 1)"
    )
    replay.add_argument("--loop", action="store_true", help="begin again at the end")
    replay.add_argument(
        "--from",
        dest="start_s",
        type=_not_negative,
        default=0.0,
        metavar="S",
        help="begin S seconds into the take",
    )
    _add_console(replay)

    _drill_command(commands)
    scan = _command(
        commands,
        "scan",
        _scan,
        "check takes as fast as the machine can; exit status 0: nothing red, 1: red, 2: failed",
        "trackwarden scan take12.wav take13.wav --plan tonight.toml",
    )
    scan.add_argument("takes", metavar="TAKE", nargs="+", help=_TAKE_HELP)
    _add_plan(scan)
    scan.add_argument("--json", action="store_true", help="print one JSON document, nothing else")
    scan.add_argument(
        "--report", metavar="DIR", help="write a report of all takes there: HTML, PDF, CSV, JSON"
    )
    _add_paper(scan)

    report = _command(
        commands,
        "report",
        _report,
        "write the report of a session that was watched",
        "trackwarden report 20260314T2105 --html night.html --pdf night.pdf",
    )
    report.add_argument("session", metavar="SESSION", help="its name or a part of it")
    for kind, text in _REPORT_FORMS:
        report.add_argument(f"--{kind}", metavar="F", type=Path, help=text)
    report.add_argument(
        "--no-bom", action="store_true", help="CSV without the mark that tells it is UTF-8"
    )
    _add_paper(report)

    _command(commands, "sessions", _sessions, "list what was watched", "trackwarden sessions")
    _command(commands, "devices", _devices, "list the live inputs", "trackwarden devices")
    _plan_commands(commands)
    return parser


_REPORT_FORMS: Final = (
    ("html", "one file that stands alone; without any form named: SESSION.html here"),
    ("pdf", "the same to print"),
    ("csv", "the incidents for a spreadsheet"),
    ("json", "everything for a script"),
)

_TAKE_HELP: Final = (
    "a multichannel WAV or FLAC, a folder of mono files, or the word demo for the demo take"
)


def _drill_command(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    drill = _command(
        commands,
        "drill",
        _drill,
        "rehearse: replay a healthy take with faults put in, and score the crew",
        "trackwarden drill demo --level hard --seed 7",
    )
    drill.add_argument("take", metavar="TAKE", help=_TAKE_HELP)
    _add_plan(drill)
    drill.add_argument(
        "--seed", type=_seed, metavar="N", help="the same N is the same drill; else a new one"
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
        "--speed", type=_positive, default=1.0, metavar="X", help="X times real time (default 1)"
    )
    _add_console(drill)


def _seed(text: str) -> int:
    if not text.isdecimal() or len(text) > 9:
        raise argparse.ArgumentTypeError(f"{text!r}: give a whole number of at most nine digits")
    return int(text)


def _plan_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    plan = _command(
        commands,
        "plan",
        None,
        "write a plan to fill in, or check one",
        "trackwarden plan new take12.wav -o tonight.toml",
    )
    actions = plan.add_subparsers(title="commands", metavar="COMMAND", required=True)
    new = _command(
        actions,
        "new",
        _plan_new,
        "write a plan to fill in, from a take or a live input",
        "trackwarden plan new --device 16ch -o tonight.toml",
    )
    source = new.add_mutually_exclusive_group(required=True)
    source.add_argument("take", metavar="TAKE", nargs="?", help=_TAKE_HELP)
    source.add_argument("--device", metavar="D", help="index or part of the name")
    new.add_argument("-o", dest="output", metavar="P", help="write to this file, never over one")
    check = _command(
        actions,
        "check",
        _plan_check,
        "name every mistake of a plan by line",
        "trackwarden plan check tonight.toml",
    )
    check.add_argument("plan", metavar="P", help="the plan file")


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    run: Callable[[argparse.Namespace], int] | None,
    text: str,
    example: str,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(
        name, help=text, description=text[0].upper() + text[1:] + ".", epilog=f"example: {example}"
    )
    if run is not None:
        parser.set_defaults(run=run)
    return parser


def _add_plan(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--plan", metavar="P", help="plan file; without one every track is a lav")


def _add_paper(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="for the PDF (default a4)"
    )


def _add_console(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--console",
        action="store_true",
        help="no window: one line a state change, a summary at the end",
    )


def _positive(text: str) -> float:
    value = _not_negative(text)
    if value == 0.0:
        raise argparse.ArgumentTypeError("must be above 0")
    return value


def _not_negative(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no number") from None
    if not 0.0 <= value < 1e9:
        raise argparse.ArgumentTypeError("must be 0 or more, and finite")
    return value

"""What each command does. Runs without Qt unless a window is asked for."""

from __future__ import annotations

import argparse
import gc
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from app.cli import display, terminal
from app.cli.argument_parts import Run, take_of
from app.cli.arguments import parser_of
from engine.model import cautions

if TYPE_CHECKING:  # what is loaded before `_begin_loading` comes before every first meter
    from engine.model.commands import Open
    from engine.runtime.spawn import Starter

OK: Final = 0
RED: Final = 1
FAILED: Final = 2


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit status (0: nothing red, 1: red, 2: could not do it)."""
    terminal.prepare()
    try:
        arguments = _parser().parse_args(argv)
        terminal.set_colour(arguments.color)
        run: Run = arguments.run
        return run(arguments)
    except BrokenPipeError:  # the reader of our output has seen enough
        terminal.stop_writing()
        return OK
    except OSError as error:
        print(f"trackwarden: {terminal.sentence_of(error)}", file=sys.stderr)
    except KeyboardInterrupt:
        print(file=sys.stderr)
    except Exception as error:
        if not _is_users(error):
            raise
        print(error, file=sys.stderr)
    return FAILED


def _is_users(error: Exception) -> bool:
    """It is about a take or a plan, in one line for whoever gave it."""
    from engine.plan.load import PlanError
    from engine.sources.base import SourceError

    return isinstance(error, SourceError | PlanError)


def _start_page(arguments: argparse.Namespace) -> int:
    if not display.available():
        print(
            f"trackwarden: {display.why_not()}: use `trackwarden replay demo`, or watch, replay or "
            "scan with --help to see how",
            file=sys.stderr,
        )
        return FAILED
    return _window(None)


def _begin_loading(arguments: argparse.Namespace) -> Starter | None:
    """Where a window will come: its watch's process loads from now on, for that takes longest."""
    if _in_terminal(arguments):
        return None
    from engine.runtime.spawn import Starter

    starter = Starter()
    starter.keep_spare()
    return starter


def _in_terminal(arguments: argparse.Namespace) -> bool:
    """No window is asked for, or none can be opened."""
    as_text = arguments.console or getattr(arguments, "json_lines", False)
    return as_text or not display.available()


def _watch(arguments: argparse.Namespace) -> int:
    starter = _begin_loading(arguments)
    from engine.model.commands import Open

    device = _only_input() if arguments.device is None else arguments.device
    return _look_at(Open(device=device, plan=arguments.plan), arguments, starter)


def _only_input() -> int:
    """The one live input there is; SourceError where the user has to choose."""
    from engine.sources.base import SourceError
    from engine.sources.capture import list_inputs
    from engine.sources.device import NO_INPUTS

    inputs = list_inputs()
    if len(inputs) == 1:
        return inputs[0].index
    if not inputs:
        raise SourceError(NO_INPUTS)
    names = ", ".join(f"{device.index} {device.name}" for device in inputs)
    raise SourceError(f"several live inputs: name one with --device: {names}")


def _replay(arguments: argparse.Namespace) -> int:
    starter = _begin_loading(arguments)
    from engine.model.commands import Open

    request = Open(
        **take_of(arguments.take),
        plan=arguments.plan,
        speed=arguments.speed,
        loop=arguments.loop,
        start_s=arguments.start_s,
        follow=arguments.follow,
    )
    return _look_at(request, arguments, starter)


def _drill(arguments: argparse.Namespace) -> int:
    starter = _begin_loading(arguments)
    import secrets

    from engine.model.commands import Open

    seed = secrets.randbelow(10_000) if arguments.seed is None else arguments.seed
    request = Open(
        **take_of(arguments.take),
        plan=arguments.plan,
        speed=arguments.speed,
        seed=seed,
        level=arguments.level,
        blind=arguments.blind,
    )
    if not _in_terminal(arguments):
        return _window(request, arguments, starter)
    from app.cli.drill_command import drill_in_terminal

    if not arguments.console:
        print(f"trackwarden: {display.why_not()}: drilling in the terminal", file=sys.stderr)
    _caution(request)
    return OK if drill_in_terminal(request, arguments) else FAILED


def _look_at(request: Open, arguments: argparse.Namespace, starter: Starter | None) -> int:
    if not _in_terminal(arguments):
        return _window(request, arguments, starter)
    from app.cli.watch_command import watch_in_terminal

    if not (arguments.console or arguments.json_lines):
        print(f"trackwarden: {display.why_not()}: watching in the terminal", file=sys.stderr)
    _caution(request)
    return RED if watch_in_terminal(request, arguments) else OK


def _caution(request: Open) -> None:
    """Where no start page was shown: the cautions before a demo or a drill."""
    if request.demo or request.seed is not None:
        drill = (cautions.DRILL,) if request.seed is not None else ()
        print(*cautions.FIRST, *drill, sep="\n", file=sys.stderr)


def _window(
    request: Open | None,
    arguments: argparse.Namespace | None = None,
    starter: Starter | None = None,
) -> int:
    from engine.runtime.client import EngineClient

    # Started first, so that the engine opens the source while Qt is still loading.
    early = []
    if request is None:
        folder, request = _running_watch()
        early = [EngineClient(request, folder=folder)] if request is not None else []
    else:
        early = [EngineClient(request, starter=starter)]
    if arguments is not None:
        from app.cli import companions

        companions.start(arguments, early[0])

    def client_for(wanted: Open) -> EngineClient:
        return early.pop() if early and wanted is request else EngineClient(wanted)

    # The first page is made of what stays: to look through it again and again for what could be
    # given up takes a tenth of the start. `run_window` begins with that once the page is there.
    gc.disable()
    from app.window.application import run_window
    from engine.sources.capture import list_inputs

    published = arguments is not None and arguments.publish is not None
    return run_window(request, client_for, list_inputs, published=published)


def _running_watch() -> tuple[Path | None, Open | None]:
    """The live watch that goes on without a window, to be looked at again."""
    from engine.session.engines import running_watches
    from engine.session.folders import sessions_folder

    watches = running_watches(sessions_folder())
    live = [(folder, engine.request) for folder, engine in watches if engine.live]
    return live[0] if live else (None, None)


def _scan(arguments: argparse.Namespace) -> int:
    gc.disable()  # as for a window: what is loaded here stays
    from app.cli.scan_command import ScanOptions, scan_takes

    gc.freeze()
    gc.enable()
    options = ScanOptions(
        plan=arguments.plan,
        as_json=arguments.json,
        json_lines=arguments.json_lines,
        report=arguments.report,
        paper=arguments.paper,
        markers=arguments.markers,
        marked_copy=arguments.marked_copy,
        jobs=arguments.jobs,
        quiet=arguments.quiet,
    )
    return scan_takes(arguments.takes, options)


def _sessions(arguments: argparse.Namespace) -> int:
    from app.cli.sessions_command import print_sessions

    return print_sessions(as_json=arguments.json)


def _schema(arguments: argparse.Namespace) -> int:
    import json

    from app.fleet import payload_schema
    from engine.report.formats import json_schema

    mqtt = arguments.document in payload_schema.SCHEMAS
    schema = payload_schema.schema if mqtt else json_schema.schema
    print(json.dumps(schema(arguments.document), indent=1))
    return OK


def _report(arguments: argparse.Namespace) -> int:
    from app.cli.report_command import write_session_report

    write_session_report(arguments)
    return OK


def _verify(arguments: argparse.Namespace) -> int:
    from app.cli.verify_command import VerifyOptions, verify_takes

    options = VerifyOptions(
        arguments.json,
        arguments.html,
        arguments.pdf,
        arguments.against,
        arguments.write_manifest,
    )
    return verify_takes(arguments.session, arguments.takes, options)


def _overview(arguments: argparse.Namespace) -> int:
    from app.cli.overview_command import overview

    return OK if overview(arguments.broker) else FAILED


def _devices(arguments: argparse.Namespace) -> int:
    from app.cli.devices_command import print_devices

    return OK if print_devices(as_json=arguments.json) else FAILED


def _plan_new(arguments: argparse.Namespace) -> int:
    from app.cli.plan_command import new_plan

    return OK if new_plan(arguments.take, arguments.device, arguments.output) else FAILED


def _plan_check(arguments: argparse.Namespace) -> int:
    from app.cli.plan_command import check_plan

    return OK if check_plan(arguments.plan, as_json=arguments.json) else FAILED


_DOES: Final[dict[str, Run]] = {
    "": _start_page,
    "watch": _watch,
    "replay": _replay,
    "drill": _drill,
    "scan": _scan,
    "report": _report,
    "verify": _verify,
    "sessions": _sessions,
    "overview": _overview,
    "devices": _devices,
    "schema": _schema,
    "plan new": _plan_new,
    "plan check": _plan_check,
}


def _parser() -> argparse.ArgumentParser:
    return parser_of(_DOES)

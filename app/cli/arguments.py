"""What can be typed: commands, arguments, and the help that a mixer understands."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from app.cli import terminal, watch_arguments
from app.cli.argument_parts import (
    TAKE_HELP,
    add_json,
    add_paper,
    add_plan,
    command,
    count,
)
from engine.model import cautions

if TYPE_CHECKING:
    from app.cli.argument_parts import Commands, Run


SHELLS: Final = ("bash", "zsh", "tcsh", "fish", "powershell")
"""Those that shtab completes for."""


class _PrintCompletion(argparse.Action):
    """Loads what writes completions when it is asked for: that takes longer than all else here."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        _namespace: argparse.Namespace,
        values: str | Sequence[Any] | None,
        _option: str | None = None,
    ) -> None:
        """Print it and end."""
        import shtab

        ends = (*shtab.OPTION_END, _PrintCompletion, _PrintVersion)
        shtab.OPTION_END = ends  # type: ignore[assignment]
        print(shtab.complete(parser, str(values)))
        parser.exit()


class _PrintVersion(argparse.Action):
    """Looks the version up when it is asked for, for the same reason."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        _namespace: argparse.Namespace,
        _values: str | Sequence[Any] | None,
        _option: str | None = None,
    ) -> None:
        """Print it and end."""
        print(f"{parser.prog} {_version()}")
        parser.exit()


def _version() -> str:
    from importlib import metadata

    try:
        return metadata.version("trackwarden")
    except metadata.PackageNotFoundError:  # run from a checkout that was not installed
        return "unknown"


def parser_of(does: Mapping[str, Run]) -> argparse.ArgumentParser:
    """The whole command line; `does` says what each command does, by its name ("" without one)."""
    parser = argparse.ArgumentParser(
        prog="trackwarden",
        description="Watches every track of a live multitrack recording and says within seconds "
        "which mic died, where it sits and what to check first. Without a command: opens the "
        "start page.",
        epilog=" ".join(cautions.ALL),
    )
    parser.set_defaults(run=does[""])
    parser.add_argument(
        "--version",
        action=_PrintVersion,
        nargs=0,
        default=argparse.SUPPRESS,
        help="show program's version number and exit",
    )
    parser.add_argument(
        "--color",
        choices=terminal.CHOICES,
        default="auto",
        help="colours in the terminal; auto: where it is one, unless NO_COLOR is set",
    )
    parser.add_argument(
        "--print-completion",
        action=_PrintCompletion,
        choices=SHELLS,
        help="print the completion for a shell, and end",
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    watch_arguments.watch_command(commands, does)
    watch_arguments.replay_command(commands, does)
    watch_arguments.drill_command(commands, does)
    _scan_command(commands, does)
    _report_command(commands, does)
    _verify_command(commands, does)
    add_json(
        command(
            commands,
            "sessions",
            does["sessions"],
            "list the sessions that were watched",
            "trackwarden sessions",
        )
    )
    _overview_command(commands, does)
    add_json(
        command(commands, "devices", does["devices"], "list the live inputs", "trackwarden devices")
    )
    _schema_command(commands, does)
    _plan_commands(commands, does)
    return parser


_REPORT_FORMS: Final = (
    ("html", "a page in one file (default: SESSION.html in this folder)"),
    ("pdf", "the same as PDF, to print"),
    ("csv", "the incidents for a spreadsheet"),
    ("json", "everything for a script"),
    ("crew", "what failed how often, for who looks after the kit, for a spreadsheet"),
)


def _scan_command(commands: Commands, does: Mapping[str, Run]) -> None:
    scan = command(
        commands,
        "scan",
        does["scan"],
        "check takes as fast as the machine can; exit status 0: nothing red, 1: red, 2: failed",
        "trackwarden scan take12.wav take13.wav --plan tonight.toml",
    )
    scan.add_argument("takes", metavar="TAKE", nargs="+", help=TAKE_HELP)
    add_plan(scan)
    form = scan.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print one JSON document, nothing else")
    form.add_argument(
        "--json-lines",
        action="store_true",
        help="print a line of JSON for each incident once it is over, and one for each take",
    )
    scan.add_argument(
        "--report", metavar="DIR", help="write a report of all takes there: HTML, PDF, CSV, JSON"
    )
    add_paper(scan)
    scan.add_argument(
        "--markers",
        metavar="DIR",
        help="write markers for editing programs there: OTIO, EDL and WebVTT of each take",
    )
    scan.add_argument(
        "--marked-copy", metavar="DIR", help="write copies of the WAV files with markers there"
    )
    scan.add_argument(
        "--jobs",
        type=count,
        metavar="N",
        help="scan N takes at once (default: as many as there are cores)",
    )
    scan.add_argument("--quiet", action="store_true", help="no progress on standard error")


def _report_command(commands: Commands, does: Mapping[str, Run]) -> None:
    report = command(
        commands,
        "report",
        does["report"],
        "write the report of a session that was watched",
        "trackwarden report 20260314T2105 --html night.html --pdf night.pdf",
    )
    report.add_argument("session", metavar="SESSION", help="its name or a part of it")
    for kind, text in _REPORT_FORMS:
        report.add_argument(f"--{kind}", metavar="F", type=Path, help=text)
    report.add_argument(
        "--markers",
        metavar="DIR",
        type=Path,
        help="markers for editing programs: OTIO, EDL and WebVTT",
    )
    report.add_argument("--no-bom", action="store_true", help="CSV without a byte order mark")
    add_paper(report)


def _overview_command(commands: Commands, does: Mapping[str, Run]) -> None:
    whole = command(
        commands,
        "overview",
        does["overview"],
        "show all carts of a site that publish to a broker, worst first",
        "trackwarden overview mqtt://192.168.7.2/belfry",
    )
    whole.add_argument("broker", metavar="mqtt://HOST/SITE", help="broker and site")


def _verify_command(commands: Commands, does: Mapping[str, Run]) -> None:
    verify = command(
        commands,
        "verify",
        does["verify"],
        "check the recorder's takes against a session: is everything on the card? exit status "
        "0: everything, 1: something is missing or differs, 2: failed",
        "trackwarden verify 20260314T2105 /media/card --html check.html",
    )
    verify.add_argument("session", metavar="SESSION", help="its name or a part of it")
    verify.add_argument(
        "takes",
        metavar="TAKE",
        nargs="+",
        help="takes, or a card's folder; nothing is written there",
    )
    verify.add_argument("--json", action="store_true", help="print one JSON document, nothing else")
    verify.add_argument("--html", metavar="F", type=Path, help="the result as a page in one file")
    verify.add_argument("--pdf", metavar="F", type=Path, help="the same as PDF, to print")
    verify.add_argument(
        "--against",
        metavar="FOLDER",
        type=Path,
        help="compare the card bit for bit with that copy, or with a SHA-256 manifest",
    )
    verify.add_argument(
        "--write-manifest", metavar="F", type=Path, help="write the card's SHA-256 manifest there"
    )


def _plan_commands(commands: Commands, does: Mapping[str, Run]) -> None:
    plan = command(
        commands,
        "plan",
        None,
        "write a plan to fill in, or check one",
        "trackwarden plan new take12.wav -o tonight.toml",
    )
    actions = plan.add_subparsers(title="commands", metavar="COMMAND", required=True)
    new = command(
        actions,
        "new",
        does["plan new"],
        "write a plan to fill in, from a take, a table, another plan or a live input",
        "trackwarden plan new --device 16ch -o tonight.toml",
    )
    source = new.add_mutually_exclusive_group(required=True)
    source.add_argument(
        "take",
        metavar="TAKE",
        nargs="?",
        help=f"{TAKE_HELP}; or a table with a row for each track (.csv, .tsv), or another plan",
    )
    source.add_argument("--device", metavar="D", help="index or part of the name")
    new.add_argument(
        "-o", dest="output", metavar="P", help="write to this file; never overwrites one"
    )
    check = command(
        actions,
        "check",
        does["plan check"],
        "list every error of a plan with its line number",
        "trackwarden plan check tonight.toml",
    )
    check.add_argument("plan", metavar="P", help="the plan file")
    add_json(check)


_DOCUMENTS: Final = ("scan", "report", "watch", "sessions", "devices", "plan-check")
_PAYLOADS: Final = ("mqtt-state", "mqtt-tracks", "mqtt-levels", "mqtt-alarm")


def _schema_command(commands: Commands, does: Mapping[str, Run]) -> None:
    schema = command(
        commands,
        "schema",
        does["schema"],
        "print the JSON Schema of a document",
        "trackwarden schema scan",
    )
    schema.add_argument(
        "document",
        metavar="DOCUMENT",
        choices=(*_DOCUMENTS, *_PAYLOADS),
        help=f"{', '.join(_DOCUMENTS)}; of MQTT: {', '.join(_PAYLOADS)}",
    )

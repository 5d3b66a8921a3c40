"""The tables of engine/CONTRACT.md, made from the code they describe.

python -m tests.architecture.contract_tables     prints each with its markers, to paste
"""

from __future__ import annotations

import argparse
import math
import re
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from app.cli.arguments import parser_of
from engine.alarms.states import diagram, phase_diagram
from engine.model.alarm_limits import LIMITS, Limit, Value
from engine.model.early_signs import SignKind
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule, Scope
from engine.model.messages import Kind, PackLevel
from engine.model.pickups import Pickup
from engine.model.tracks import Plan, Track
from engine.pipeline import scan_document
from engine.pipeline.own_marks import OwnMark
from engine.pipeline.scan import scan_source
from engine.plan.load import PlanError, parse_plan
from engine.report.content.report_data import Break, Done, Note
from engine.report.content.sections import report
from engine.report.formats.csv_table import HEAD
from engine.report.formats.json_document import document
from engine.session.records import SignRecord
from engine.session.schema import MIGRATIONS, VERSION
from engine.sources.synthetic import ArraySource
from tests.support.checkout import ROOT
from tests.support.sample_report import incident, section
from tests.support.signals import noise

CONTRACT: Final = ROOT / "engine" / "CONTRACT.md"
_TABLE: Final = re.compile(r"<!-- table: (.+?) -->\n(.*?)<!-- /table -->", re.DOTALL)


def written() -> dict[str, str]:
    """Each table of the contract by its name, as it stands there."""
    text = CONTRACT.read_text("utf-8")
    return {name: body.strip() for name, body in _TABLE.findall(text)}


def made() -> dict[str, str]:
    """The same tables, made from the code."""
    return {name: table().strip() for name, table in TABLES.items()}


def _markdown(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cell or " " for cell in line) + " |" for line in lines)


def commands() -> str:
    """Every command with its arguments."""
    nothing = dict.fromkeys(
        (
            *("", "watch", "replay", "drill", "scan", "report", "verify", "sessions", "devices"),
            "schema",
        ),
        _no_command,
    )
    parser = parser_of(
        {**nothing, "overview": _no_command, "plan new": _no_command, "plan check": _no_command}
    )
    return _markdown(("command", "takes"), _commands(parser, ()))


def _no_command(arguments: argparse.Namespace) -> int:
    return 0


def _commands(parser: argparse.ArgumentParser, name: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    below = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    if not below or not name:
        yield "`" + " ".join(("trackwarden", *name)) + "`", _arguments(parser)
    for action in below:
        for word, child in action.choices.items():
            yield from _commands(child, (*name, word))


def _arguments(parser: argparse.ArgumentParser) -> str:
    hidden = (argparse._HelpAction, argparse._SubParsersAction)
    shown = []
    for action in parser._actions:
        if not isinstance(action, hidden):
            option = action.option_strings[0] if action.option_strings else ""
            value = "" if action.nargs == 0 else str(action.metavar or "").upper()
            value = "/".join(map(str, action.choices)) if action.choices else value
            shown.append("`" + f"{option} {value}".strip() + "`")
    return " ".join(shown)


def plan_keys() -> str:
    """The keys of a plan's tables, as the plan's own checks list them."""
    rows = [
        (f"`{where}`", _allowed(f"{where}\nno_such_key = 1\n", "no_such_key"))
        for where in ("[take]", "[[track]]", "[limits]")
    ]
    return _markdown(("table", "keys"), rows)


def _allowed(text: str, key: str) -> str:
    try:
        parse_plan(text)
    except PlanError as error:
        (message,) = (m.message for m in error.mistakes if m.key.endswith(key))
        return ", ".join(f"`{name}`" for name in message.split("allowed: ")[1].split(", "))
    raise AssertionError(f"{key} was taken")


def limits() -> str:
    """Every limit but the switches: defaults by kind, and range."""
    numbers = [limit for limit in LIMITS.values() if not limit.is_switch]
    return _markdown(
        ("limit", "unit", "default", "elsewhere", "range"),
        [
            (f"`{one.name}`", one.unit, _value(one.default), _elsewhere(one), _range(one))
            for one in numbers
        ],
    )


def _value(value: Value) -> str:
    return "learned" if value is None else f"{value:g}" if isinstance(value, float) else value


def _elsewhere(limit: Limit) -> str:
    by_kind = [f"{kind} {_value(value)}" for kind, value in limit.by_kind.items()]
    safety = [f"safety {_value(limit.on_safety)}"] if limit.on_safety is not None else []
    return ", ".join(by_kind + safety)


def _range(limit: Limit) -> str:
    return limit.range


def faults() -> str:
    """Every rule: delays, and what follows from the fault."""
    return _markdown(
        ("rule", "fault", "amber after", "red after", "ends after", "marks"),
        [
            (
                f"`{rule.name}`",
                f"`{rule.fault}`",
                _delay(rule.amber_s),
                _delay(rule.red_s),
                f"{rule.off_s:g} s",
                ", ".join(_marks(rule)),
            )
            for rule in FAULTS
        ],
    )


def _delay(delay: str | float) -> str:
    if isinstance(delay, str):
        return f"`{delay}` ({_value(LIMITS[delay].default)} s)"
    return "never" if delay == math.inf else "at once" if delay == 0.0 else f"{delay:g} s"


def _marks(rule: FaultRule) -> Iterator[str]:
    if rule.family:
        yield f"family {rule.family}"
    for name in ("spoils", "red_if_uncovered", "in_standby"):
        if getattr(rule, name):
            yield name.replace("_", " ")
    if rule.scope is Scope.INPUT:
        yield "whole input"


def kinds() -> str:
    """Which fault is looked for on which kind of track, by default."""
    switches = [limit for limit in LIMITS.values() if limit.is_switch]
    return _markdown(
        ("fault", *Kind),
        [
            (f"`{one.name}`", *("·" if one.of(kind) == "off" else "yes" for kind in Kind))
            for one in switches
        ],
    )


def scan_json() -> str:
    """The keys of `scan --json`, read from a scan of two tracks whose receiver goes."""
    sound = noise(-50.0, 12.0, 8_000, tracks=3)
    sound[16_000:40_000, :2] = 0.0
    plan = Plan(
        (
            Track(1, who="Rigger", level=PackLevel.MAIN, receiver="A"),
            Track(2, who="Rigger", level=PackLevel.SAFETY, receiver="A"),
            Track(3, kind=Kind.AMBIENCE),
        )
    )
    result = scan_source(ArraySource(sound, 8_000), plan)
    result = replace(
        result,
        marks=(OwnMark("wind", 1, 1.0, 2.0, -12.0, "wind"),),
        signs=(SignRecord(SignKind.HUM, (1,), 1.0, 2.0, None, 3.0, 9.0),),
        pickups=(Pickup("Rigger", 3, 12.0, -6.0, 0.003, 8, 10.0),),
    )
    return _key_table(scan_document.document(result))


def report_json() -> str:
    """The keys of `report --json` and of the JSON in `scan --report`."""
    whole = section(
        [incident()],
        done={1: (Done(110.0, "seen", "assistant"),)},
        breaks=(Break(1.0, 2.0, "lost"),),
        marks=(Note(3.0, "slate"),),
        line_check=(Note(3.0, "passed"),),
        batteries=(Note(3.0, "fresh battery"),),
        crew=True,
    )
    return _key_table(document(report([whole], "made")))


def _key_table(value: Mapping[str, Any]) -> str:
    keys: dict[str, list[str]] = {}
    _gather("", value, keys)
    free = ("sections[].fields", "heading")  # their keys are words to show, not fixed names
    rows = [
        (f"`{path}`" if path else "the document", ", ".join(f"`{name}`" for name in names))
        for path, names in keys.items()
        if path not in free
    ]
    return _markdown(("object", "keys"), rows)


def _gather(path: str, value: object, keys: dict[str, list[str]]) -> None:
    if isinstance(value, Mapping):
        names = keys.setdefault(path, [])
        names += [name for name in value if name not in names]
        for name, inner in value.items():
            _gather(f"{path}.{name}".lstrip("."), inner, keys)
    elif isinstance(value, Sequence) and not isinstance(value, str):
        for inner in value:
            _gather(path + "[]", inner, keys)


def csv_columns() -> str:
    """The columns of the report's CSV, in order."""
    return ", ".join(f"`{name}`" for name in HEAD)


def log_tables() -> str:
    """The tables of a session log of the present version."""
    log = sqlite3.connect(":memory:")
    for script in MIGRATIONS:
        log.executescript(script)
    names = [name for (name,) in log.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    rows = [
        (f"`{name}`", ", ".join(f"`{row[1]}`" for row in log.execute(f"PRAGMA table_info({name})")))
        for name in names
    ]
    log.close()
    return f"Version {VERSION}.\n\n" + _markdown(("table", "columns"), rows)


TABLES: Final[Mapping[str, Callable[[], str]]] = {
    "commands": commands,
    "plan keys": plan_keys,
    "limits": limits,
    "faults": faults,
    "kinds": kinds,
    "alarm states": diagram,
    "condition phases": phase_diagram,
    "scan json": scan_json,
    "report json": report_json,
    "csv columns": csv_columns,
    "session log": log_tables,
}


def main() -> None:
    """Print every table."""
    for name, table in made().items():
        print(f"<!-- table: {name} -->\n{table}\n<!-- /table -->\n")


if __name__ == "__main__":
    main()

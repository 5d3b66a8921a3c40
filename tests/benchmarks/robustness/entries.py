"""The program's real ways in, called as the command line calls them, and what must hold there.

Whatever a file holds, a command ends with 0, 1 or 2; with 2 it has said why in plain lines of its
own, not in the words of an exception; nothing it prints steers a terminal; JSON is strict JSON.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import Any, Final

from app.cli.main import main
from app.report.write import Files, scanned_section, write_report
from engine.model.client_id import ClientId
from engine.model.commands import ChangePlan, Open, Stop, SwapInputs
from engine.model.snapshot import Snapshot
from engine.pipeline.scan import scan_take
from engine.plan.keys import is_harmless
from engine.plan.load import load_plan
from engine.runtime.host import Host
from engine.runtime.open_source import fitting_plan
from engine.runtime.runner import Asked, Runner
from engine.runtime.wire import Message, pack_message, unpack_message
from engine.session.writer import SessionWriter
from engine.sources.base import SourceError
from engine.sources.take import open_take

OK: Final = 0
FAILED: Final = 2
_SPEED: Final = 1e9
_WHO: Final = ClientId("window", "crew", 1)
_MOST_TURNS: Final = 100_000


@contextmanager
def _caught_output() -> Iterator[tuple[io.BytesIO, io.BytesIO]]:
    """Standard output and error as a UTF-8 terminal would have them."""
    before = sys.stdout, sys.stderr
    out, error = io.BytesIO(), io.BytesIO()
    sys.stdout = io.TextIOWrapper(out, "utf-8", write_through=True)
    sys.stderr = io.TextIOWrapper(error, "utf-8", errors="backslashreplace", write_through=True)
    try:
        yield out, error
    finally:
        kept, (sys.stdout, sys.stderr) = (sys.stdout, sys.stderr), before
        for stream in kept:
            stream.detach()


def run(*words: str) -> tuple[int, str]:
    """Run one command; its exit status and what it printed.

    Raises
    ------
    AssertionError
        Where it printed what it must not, or failed without a word.
    """
    with _caught_output() as (out, error):
        status = main(words)
    said, complaint = out.getvalue().decode("utf-8"), error.getvalue().decode("utf-8")
    assert status in (0, 1, 2), f"exit status {status}"
    for text in (said, complaint):
        steering = {c for c in text if c != "\n" and not is_harmless(c)}
        assert not steering, f"prints {steering}"
    if status == FAILED:
        assert complaint.strip(), "failed without a word"
        for words_of_python in ("Traceback", "Errno", "Error(", "object at 0x"):
            assert words_of_python not in complaint, complaint
    return status, said


def _strict(text: str) -> Any:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def replay(take: Path, folder: Path, plan: Path | None = None, text: str = "") -> None:
    """Play the take through the runner with a log, as a window's engine does; then read it all.

    With `text` the crew also swaps two inputs, then changes the plan to it.

    Raises
    ------
    SourceError, PlanError
        Where the runner says that it can't be opened.
    """
    clock = count()
    shots: list[Snapshot] = []
    world = Host(clock=lambda: 0.06 * next(clock), sleep=lambda _s: None)

    def publish(shot: Snapshot) -> None:
        unpack_message(pack_message(Message(None, shot)))
        shots.append(shot)
        assert len(shots) < _MOST_TURNS, "never ends"
        if len(shots) == 2 and text:
            runner.commands.put(Asked(SwapInputs(1, 2), _WHO))
            runner.commands.put(Asked(ChangePlan(text), _WHO))
        if shot.ended:
            runner.commands.put(Asked(Stop(), _WHO))

    log = SessionWriter(folder / "session.sqlite")
    try:
        request = Open(take=str(take), plan=None if plan is None else str(plan), speed=_SPEED)
        runner = Runner(request, publish, world, log=log)
        runner.run()
        assert shots[-1].log is not None
        assert not shots[-1].log.problem, shots[-1].log.problem
    finally:
        log.close()


def _report(take: Path, folder: Path) -> None:
    """A report of that take in every form that needs no Qt."""
    source = open_take(take, read_ahead=0)
    source.close()
    result = scan_take(take, fitting_plan(None, source.info))
    forms = {kind: folder / f"report.{kind}" for kind in ("html", "csv", "json")}
    write_report([scanned_section(result, str(take))], Files(**forms))
    _strict(forms["json"].read_text("utf-8"))
    page = forms["html"].read_text("utf-8").lower()
    assert page.count("<script") == 0
    assert page.count("<html") == 1


def try_take(take: Path, folder: Path, number: int) -> str:
    """Everything the program does with a take; what came of it in one word.

    `folder` is the only place where something may be written. Each take is scanned, some are
    also played, made a plan from and reported.
    """
    status, said = run("scan", str(take), *(["--json"] if number % 2 else []))
    if number % 2 and status != FAILED:
        assert _strict(said)["kind"] == "scan"
    if number % 4 == 0 or status != FAILED:
        made = folder / "made.toml"
        planned, _ = run("plan", "new", str(take), "-o", str(made))
        if planned == OK:
            load_plan(made)
        assert (planned == OK) or status == FAILED
    if number % 4 == 1:
        with suppress(SourceError):
            replay(take, folder)
    if number % 16 == 2 and status != FAILED:
        _report(take, folder)
    return "refused" if status == FAILED else "read"


def try_plan(plan: Path, take: Path, folder: Path, number: int) -> str:
    """Everything the program does with a plan; what came of it in one word."""
    status, _ = run("plan", "check", str(plan))
    if status == OK or number % 16 == 0:
        scanned, _ = run("scan", str(take), "--plan", str(plan), "--json")
        if status == OK and scanned != FAILED and number % 2:
            replay(take, folder, plan, plan.read_text("utf-8-sig"))
    if number % 16 == 1:
        replay(take, folder, text=plan.read_bytes().decode("utf-8", "replace"))
    return "refused" if status == FAILED else "read"

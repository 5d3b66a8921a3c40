"""A plan to fill in, and what is wrong with one."""

from __future__ import annotations

import sys

from app.cli.argument_parts import take_of
from engine.model.commands import Open
from engine.model.safe_text import harmless, json_text
from engine.plan.load import PlanError, load_plan, parse_plan
from engine.runtime.open_source import plan_from, plan_of_input, with_demo


def new_plan(take: str | None, device: str | None, output: str | None) -> bool:
    """A plan to fill in, to a new file or standard output; False where that file is there."""
    if device is not None:
        from engine.sources.capture import find_input

        text = plan_of_input(find_input(device).channels)
    else:
        path = with_demo(Open(**take_of(take))).take or ""
        text, _ = plan_from(path)
    _say_mistakes(text)
    if output is None:
        print(text, end="")
        return True
    try:
        with open(output, "x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        print(f"{harmless(output)}: is there already: give another name", file=sys.stderr)
        return False
    print(f"{harmless(output)}: written, fill it in", file=sys.stderr)
    return True


def _say_mistakes(text: str) -> None:
    """A table may hold words that no plan allows: they are taken over, and said."""
    try:
        parse_plan(text)
    except PlanError as error:
        for mistake in error.mistakes:
            print(f"to be mended: {mistake}", file=sys.stderr)


def check_plan(path: str, *, as_json: bool) -> bool:
    """Say what is wrong with a plan; whether nothing is.

    Raises
    ------
    PlanError
        Where something is, unless a document was asked for.
    """
    document = {"kind": "plan check", "schema": 1, "path": path}
    try:
        plan = load_plan(path)
    except PlanError as error:
        if not as_json:
            raise
        mistakes = [{"line": m.line, "key": m.key, "message": m.message} for m in error.mistakes]
        print(json_text({**document, "tracks": 0, "mistakes": mistakes}, indent=1))
        return False
    if as_json:
        print(json_text({**document, "tracks": len(plan.tracks), "mistakes": []}, indent=1))
        return True
    count = len(plan.tracks)
    print(f"{harmless(path)}: {count} {'track' if count == 1 else 'tracks'}, no mistakes")
    return True

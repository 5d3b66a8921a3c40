"""README.md against the program, as far as nothing has to run; the rest is in end_to_end."""

from __future__ import annotations

import re
import shlex

import pytest

from app.cli import main
from app.models.key_bindings import KEYS
from app.views.drill.drill_panel import key_of
from engine.drill.schedule import LEVELS
from engine.model.alarm_limits import LIMITS
from engine.model.drill_causes import CALLED
from tests.support.readme import README, fenced_commands, inline_commands

TEXT = README.read_text("utf-8")
PREFIXES = ("uvx --from . ", "pipx run --spec . ")
OURS = sorted(
    {
        command
        for typed in fenced_commands(TEXT) + inline_commands(TEXT)
        for command in [re.sub("^(" + "|".join(PREFIXES) + ")", "", typed)]
        if command.startswith("trackwarden") and "COMMAND" not in command
    }
)


@pytest.mark.parametrize("command", OURS)
def test_every_command_can_be_typed(command: str) -> None:
    """The command line takes each command of README.md as it stands there."""
    main._parser().parse_args(shlex.split(command)[1:])


def test_a_block_in_a_language_of_its_own_is_no_command() -> None:
    """Commands come from plain blocks, without remarks; a plan is none."""
    text = "```\na b   # why\n\nc\n```\n```toml\n[take]\n```\nSay `trackwarden\nscan X`.\n"
    assert fenced_commands(text) == ["a b", "c"]
    assert inline_commands(text) == ["trackwarden scan X"]


def test_every_key_named_is_a_key() -> None:
    """A bold letter or combination is a key of the one table."""
    shown = {key.shown for key in KEYS} | {key_of(cause) for cause in CALLED}
    named = set(re.findall(r"\*\*((?:Shift\+|Ctrl\+)?(?:[A-Z0-9?]|Space|Esc|F\d+))\*\*", TEXT))
    assert named
    assert named <= shown


def test_pictures_named_are_there() -> None:
    """No picture is missing, and none lies about unused."""
    named = set(re.findall(r"\]\((app/pictures/[^)]+)\)", TEXT))
    root = README.parent
    assert named == {f"app/pictures/{path.name}" for path in (root / "app/pictures").iterdir()}


def test_limits_and_levels_named_exist() -> None:
    """Limits of the sample plan are limits of the program, with its own defaults for a lav."""
    for name, value in re.findall(r"^(\w+_(?:amber|red)_s) = ([\d.]+)$", TEXT, re.MULTILINE):
        assert LIMITS[name].default == float(value)
    assert set(re.findall(r"--level (\w+)", TEXT)) <= set(LEVELS)

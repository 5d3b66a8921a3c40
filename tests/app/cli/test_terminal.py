"""What the terminal can show, and what is said in it."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path

import pytest
import shtab

from app.cli import terminal
from app.cli.arguments import SHELLS
from app.cli.watch_text import event_lines, summary
from engine.model.messages import Alarm, AlarmEvent, AlarmState, EventKind, Fault, Severity
from tests.support.checkout import ROOT
from tests.support.qt import fake_client

PLAN = fake_client.large_plan(32)


def raised(track: int | None, **more: object) -> AlarmEvent:
    """A red of that track."""
    one = fake_client.incident(track or 99, track, Fault.MUTED, Severity.RED, 1, **more)
    alarm = Alarm(one, AlarmState.UNACKNOWLEDGED)
    return AlarmEvent(EventKind.RAISED, 1.0, alarm, True, "18:00:00:00")


class Terminal(io.StringIO):
    """A stream that says that it is one."""

    def isatty(self) -> bool:
        """It is."""
        return True


def test_a_lost_input_is_one_line() -> None:
    """What is gathered is said once, with its remedy; the tracks of it are not said each."""
    members = [raised(n, part_of="whole input") for n in range(1, 33)]
    whole = raised(None, tracks=tuple(range(1, 33)))
    (line,) = event_lines([*members, whole], PLAN)
    assert "tracks 1–32" in line


def test_many_tracks_with_one_fault_are_one_line() -> None:
    """Before their cause is known, sixteen tracks that fail together are no sixteen lines."""
    (line,) = event_lines([raised(n) for n in range(1, 17)], PLAN)
    assert "tracks 1–16: muted" in line
    assert len(event_lines([raised(1), raised(2)], PLAN)) == 2


def test_colours_only_where_they_are_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal gets them, a pipe does not; NO_COLOR and --color have the last word."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(terminal, "_wanted", "auto")
    assert terminal.paint("red", Severity.RED, Terminal()).startswith("\x1b[")
    assert terminal.paint("red", Severity.RED, io.StringIO()) == "red"
    assert terminal.paint("fine", None, Terminal()) == "fine"
    monkeypatch.setenv("NO_COLOR", "1")
    assert terminal.paint("red", Severity.RED, Terminal()) == "red"
    terminal.set_colour("always")
    assert terminal.paint("red", Severity.RED, io.StringIO()) != "red"
    terminal.set_colour("never")
    assert terminal.paint("red", Severity.RED, Terminal()) == "red"


def test_a_summary_has_its_severities_in_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    """The word alone, so that the columns stay where they are without."""
    incidents = (raised(3).alarm.incident,)
    made = {}
    for wanted in ("never", "always"):
        monkeypatch.setattr(terminal, "_wanted", wanted)
        made[wanted] = summary(incidents, PLAN, 60.0, 0.0, lambda _s: "18:00:00:00")
    assert "\x1b[1;97;41mred\x1b[0m  3 " in made["always"]
    assert re.sub(r"\x1b\[[0-9;]*m", "", made["always"]) == made["never"]


def test_an_error_of_the_system_is_a_sentence(tmp_path: Path) -> None:
    """No number in brackets: the file, and what is wrong with it."""
    with pytest.raises(OSError, match="No such") as caught:
        (tmp_path / "gone").read_text()
    assert terminal.sentence_of(caught.value) == f"{tmp_path / 'gone'}: no such file or directory"


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_no_sign_ends_the_program(encoding: str) -> None:
    """Where an encoding lacks a sign, another stands for it; nothing is lost and nothing raised."""
    code = "from app.cli import terminal; terminal.prepare(); print('▲ −3 dB · 1–4 …')"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONIOENCODING": encoding, "PYTHONPATH": str(ROOT), "PATH": ""},
        capture_output=True,
        check=True,
    )
    shown = done.stdout.decode(encoding).strip()
    if encoding == "utf-8":
        assert shown == "▲ −3 dB · 1–4 …"
    else:
        assert shown.startswith("^ -3 dB")


def test_version_and_completion(capsys: pytest.CaptureFixture[str]) -> None:
    """Both end at once with status 0."""
    from app.cli.main import main

    for option, words in ((["--version"], "trackwarden"), (["--print-completion", "bash"], "scan")):
        with pytest.raises(SystemExit) as ended:
            main(option)
        assert ended.value.code == 0
        assert words in capsys.readouterr().out


def test_every_shell_that_can_be_completed_for_is_offered() -> None:
    """The library that writes completions is loaded when one is asked for, its shells are known."""
    assert list(SHELLS) == shtab.SUPPORTED_SHELLS

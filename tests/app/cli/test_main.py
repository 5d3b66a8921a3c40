"""The command line as people and scripts call it, in this process."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from app.cli.display import available
from app.cli.main import main
from engine.model.safe_text import is_harmless

RATE = 48000


@pytest.fixture
def take(tmp_path: Path) -> Path:
    """Two tracks, three seconds; the second is digital zero from 1 s on."""
    rng = np.random.default_rng(3)
    samples = 0.003 * rng.standard_normal((3 * RATE, 2))
    samples[RATE:, 1] = 0.0
    path = tmp_path / "take.wav"
    sf.write(path, samples, RATE, subtype="PCM_24")
    return path


def test_scan_prints_one_json_document_and_nothing_else(
    take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`scan --json` writes exactly one JSON document to standard output; red exits 1."""
    status = main(["scan", str(take), "--json"])
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert status == 1
    assert err == ""
    assert [i["fault"] for i in document["incidents"]] == ["muted"]
    assert document["incidents"][0]["severity"] == "red"


def test_scan_of_a_healthy_take_exits_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing red: exit status 0, and the text says so."""
    path = tmp_path / "fine.wav"
    rng = np.random.default_rng(4)
    sf.write(path, 0.003 * rng.standard_normal((2 * RATE, 2)), RATE)
    assert main(["scan", str(path)]) == 0
    assert "nothing went wrong" in capsys.readouterr().out


def test_a_scan_loads_nothing_that_it_does_not_need(take: Path) -> None:
    """Of a WAV without metadata neither libsndfile nor a reader of metadata; of one take nothing
    that runs several; of numpy no masked arrays, which its medians load."""
    code = f"""import sys
from app.cli.main import main
main(["scan", "--jobs", "1", "--json", {str(take)!r}])
print(*sys.modules)"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(said.stdout.split())
    assert "engine.detectors.bank" in loaded
    spared = {"soundfile", "wavinfo", "lxml", "concurrent.futures", "difflib", "numpy.ma", "scipy"}
    assert not loaded & spared


def test_several_takes_make_one_document(
    take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Several takes still print one document; one that fails is named and makes the status 2."""
    assert main(["scan", str(take), str(take), "--json"]) == 1
    assert len(json.loads(capsys.readouterr().out)["takes"]) == 2
    assert main(["scan", str(take), str(tmp_path / "none.wav"), "--json"]) == 2
    out, err = capsys.readouterr()
    assert len(json.loads(out)["takes"]) == 1
    assert err.count("\n") == 1
    assert "none.wav" in err


@pytest.mark.parametrize(
    "content",
    [b"", b"RIFF", b"text, not sound", b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0" + bytes(16)],
    ids=["empty", "cut short", "text", "zero channels"],
)
def test_what_is_no_take_is_one_line_and_exit_2(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Anything that is no take: one clear line on standard error, exit 2, no traceback."""
    path = tmp_path / "odd.wav"
    path.write_bytes(content)
    assert main(["scan", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    (failed,) = json.loads(out)["failed"]
    assert failed["path"] == str(path)
    assert failed["reason"] + "\n" == err
    assert err.count("\n") == 1
    assert "odd.wav" in err


def test_a_plan_made_from_a_take_passes_the_check(
    take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plan new` writes what `plan check` accepts, and never over a file that is there."""
    plan = tmp_path / "tonight.toml"
    assert main(["plan", "new", str(take), "-o", str(plan)]) == 0
    assert main(["plan", "check", str(plan)]) == 0
    assert "2 tracks, no mistakes" in capsys.readouterr().out
    before = plan.read_text(encoding="utf-8")
    assert main(["plan", "new", str(take), "-o", str(plan)]) == 2
    assert plan.read_text(encoding="utf-8") == before


def test_plan_new_says_what_a_table_has_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The plan is written as the table has it, and each mistake is said at once."""
    table = tmp_path / "crew.csv"
    table.write_text("Input,Name,Kind\n1,Foreman,lav\n2,Boom,bom\n", encoding="utf-8")
    assert main(["plan", "new", str(table)]) == 0
    text, said = capsys.readouterr()
    assert 'kind = "bom"' in text
    assert said.startswith("to be mended: line ")
    assert "boom" in said


def test_a_plan_can_be_made_from_the_demo_take(capsys: pytest.CaptureFixture[str]) -> None:
    """`plan new demo` means the demo take, as its help says."""
    assert main(["plan", "new", "demo"]) == 0
    assert capsys.readouterr().out.count("[[track]]") == 14


def test_plan_check_names_each_mistake_by_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every mistake is a line of its own with the line it stands on."""
    plan = tmp_path / "bad.toml"
    plan.write_text('[[track]]\ninput = 1\nkind = "lave"\n\n[[track]]\ninput = 1\n')
    assert main(["plan", "check", str(plan)]) == 2
    err = capsys.readouterr().err
    assert "3" in err
    assert "kind" in err
    assert "6" in err
    assert "Traceback" not in err


def test_a_plan_that_names_an_input_the_take_lacks_is_refused(
    take: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An input the source lacks: exit 2, naming the line."""
    plan = tmp_path / "nine.toml"
    plan.write_text("[[track]]\ninput = 9\n")
    assert main(["scan", str(take), "--plan", str(plan), "--json"]) == 2
    assert "input" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        *([name, "--help"] for name in ("watch", "replay", "scan", "devices", "plan")),
        ["plan", "new", "--help"],
        ["plan", "check", "--help"],
    ],
    ids=" ".join,
)
def test_help_has_an_example_a_command(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Help ends well, and every command's help shows an example."""
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 0
    out = capsys.readouterr().out
    assert "example: trackwarden" in out or words == ["--help"]


@pytest.mark.parametrize("words", [["--speed", "0"], ["--speed", "nan"], ["--from", "-1"]], ids=str)
def test_numbers_out_of_range_are_refused(
    words: list[str], take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Speeds and places that make no sense are refused as arguments."""
    with pytest.raises(SystemExit) as ended:
        main(["replay", str(take), *words])
    assert ended.value.code == 2
    assert words[0] in capsys.readouterr().err


def test_without_a_display_the_take_is_watched_in_the_terminal(
    take: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No display: the terminal watch says why, prints the changes and ends with a summary."""
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    assert not available()
    assert main(["replay", str(take), "--speed", "20"]) == 1
    out, err = capsys.readouterr()
    assert "no display" in err
    lines = out.splitlines()
    assert lines[0].startswith("watching take.wav, 2 tracks")
    assert sum("amber" in line and "muted" in line for line in lines) == 1
    assert any("RED" in line and "2 Track 2" in line for line in lines)
    assert lines[-1].strip().startswith("red  2 Track 2: muted at 00:00:01")


def test_replay_finds_what_scan_finds(take: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same take raises the same alarms replayed as scanned."""
    main(["scan", str(take)])
    scanned = capsys.readouterr().out.splitlines()[-1]
    main(["replay", str(take), "--speed", "20", "--console"])
    assert capsys.readouterr().out.splitlines()[-1] == scanned


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are Unicode there")
@pytest.mark.parametrize(
    "name", [b"ta\nke.wav", b"ta\x1b[31mke.wav", b"t\xe4ke.wav", b"\xe2\x80\xaek.wav"]
)
def test_no_file_name_steers_a_terminal(
    name: bytes, take: Path, tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    """A name with controls, line ends or no UTF-8 is shown with question marks, never raw."""
    odd = tmp_path / os.fsdecode(name)
    odd.write_bytes(take.read_bytes())
    assert main(["scan", str(odd)]) == 1
    assert main(["scan", str(odd), "--json"]) == 1
    assert main(["plan", "new", str(odd), "-o", f"{odd}.toml"]) == 0
    assert main(["plan", "new", str(odd), "-o", f"{odd}.toml"]) == 2
    assert main(["plan", "check", f"{odd}.toml"]) == 0
    out, err = capfdbinary.readouterr()
    document = out[out.index(b"{") : out.rindex(b"}") + 1]
    assert json.loads(document)["take"]["path"] == str(odd)
    os.truncate(odd, 30)
    assert main(["scan", str(odd)]) == 2
    refused = capfdbinary.readouterr().err
    assert refused.count(b"\n") == 1
    assert all(is_harmless(c) or c == "\n" for c in (out + err + refused).decode())


def test_the_document_names_the_take_as_it_was_given(
    take: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A script finds the take by the path it asked for."""
    main(["scan", str(take), "--json"])
    assert json.loads(capsys.readouterr().out)["take"]["path"] == str(take)

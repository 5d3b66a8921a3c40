"""How the demo take is made, kept and labelled."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import soundfile
import wavinfo

import demo_audio
from demo_audio import DemoTakeError, demo_take
from demo_audio.script import DURATION_S, FAULTS, PACKS, RADIO, SPARE
from engine.model.messages import Fault, Kind, PackLevel
from engine.plan.load import load_plan
from tests.support.rendered_demo import Rendered

REPOSITORY_LIMIT_BYTES = 5_000_000
KEYS = {"input", "name", "kind", "who", "level", "pack", "placement", "receiver", "battery"}


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def test_two_processes_render_the_same_bytes(demo: Rendered, tmp_path: Path) -> None:
    """A second render, in a process of its own, is the same file to the last bit."""
    command = [sys.executable, "-m", "demo_audio", str(tmp_path)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    take, plan, truth = (Path(line) for line in done.stdout.splitlines())
    assert _sha256(take) == _sha256(demo.made.take)
    assert plan.read_bytes() == demo.made.plan.read_bytes()
    assert truth.read_bytes() == demo.made.truth.read_bytes()


def test_import_is_cheap() -> None:
    """Importing the package loads neither numpy nor scipy nor soundfile."""
    code = "import demo_audio, sys; print({'numpy', 'scipy', 'soundfile'} & set(sys.modules))"
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "set()"


def test_a_rendered_take_is_used_again(demo: Rendered) -> None:
    """With the recipe unchanged nothing is rendered a second time."""
    said: list[str] = []
    again = demo_take(demo.made.take.parent.parent, said.append)
    assert again == demo.made
    assert said == []


def test_a_failed_render_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk is full no half-written take is found later, and one line says what to do."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("demo_audio.render.write_wave", full)
    with pytest.raises(DemoTakeError, match=r"No space left.*free 300 MB"):
        demo_take(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_takes_of_older_recipes_are_forgotten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the user's own cache a new render clears older recipes away, and nothing else."""
    old, other = tmp_path / "demo-take-0123456789ab", tmp_path / "sessions"
    twin = tmp_path / f"demo-take-{demo_audio.recipe_hash()[:12]}-healthy"
    stale, busy = tmp_path / "rendering-stale", tmp_path / "rendering-busy"
    for folder in (old, other, twin, stale, busy):
        folder.mkdir()
    os.utime(stale, (0, 0))
    monkeypatch.setattr("platformdirs.user_cache_dir", lambda _name: str(tmp_path))
    monkeypatch.setattr("demo_audio.render.render", lambda *_: None)
    made = demo_take()
    assert set(tmp_path.iterdir()) == {other, twin, busy, made.take.parent}


def test_file_has_the_stated_format(demo: Rendered) -> None:
    """The take has 14 channels of 24 bit at 48 kHz and lasts 110 s."""
    info = soundfile.info(demo.made.take)
    assert (info.channels, info.samplerate, info.subtype) == (14, 48_000, "PCM_24")
    assert info.frames == round(DURATION_S * 48_000)


def test_metadata_reads_back(demo: Rendered) -> None:
    """An independent reader finds the track names and 19:30:00 as the time reference.

    Sources: EBU Tech 3285 (TimeReference counts samples since midnight), iXML TRACK_LIST.
    """
    read = wavinfo.WavInfoReader(str(demo.made.take))
    assert read.bext.time_reference == (19 * 3600 + 30 * 60) * 48_000
    assert read.bext.originator_time == "19:30:00"
    plan = tomllib.loads(demo.made.plan.read_text(encoding="utf-8"))
    names = [t["name"] for t in plan["track"]]
    assert [t.name for t in read.ixml.track_list] == names
    assert [int(t.channel_index) for t in read.ixml.track_list] == list(range(1, 15))


def test_plan_is_in_the_plan_format(demo: Rendered) -> None:
    """The plan has tracks 1 to 14, known keys and words only, and two staggered pairs."""
    plan = tomllib.loads(demo.made.plan.read_text(encoding="utf-8"))
    assert (plan["take"]["title"], plan["take"]["frame_rate"]) == ("Raising the bell", "25")
    tracks = plan["track"]
    assert [t["input"] for t in tracks] == list(range(1, 15))
    for track in tracks:
        assert track.keys() <= KEYS
        assert track["kind"] in set(Kind)
    pairs = [(t["who"], t["level"]) for t in tracks if "level" in t]
    whos = ("Foreman", "Rigger")
    assert pairs == [(who, level) for who in whos for level in (PackLevel.MAIN, PackLevel.SAFETY)]
    assert [t["pack"] for t in tracks if t["kind"] == "lav"] == [str(n) for n in range(1, 8)]


def test_the_program_reads_the_plan(demo: Rendered) -> None:
    """The program's own plan reader takes the plan as it is, for a take of fourteen channels."""
    plan = load_plan(demo.made.plan, inputs=14)
    assert [track.input for track in plan.tracks] == list(range(1, 15))
    assert plan.track(14).kind is Kind.TIMECODE


def test_recipe_covers_the_plan() -> None:
    """Every input but the last, which carries timecode, has exactly one pack, in input order."""
    assert [pack.input for pack in (*PACKS, RADIO, SPARE)] == list(range(1, 14))


def test_faults_bear_the_catalogue_words(demo: Rendered) -> None:
    """Truth and plan speak of the same faults as the program, each within the take."""
    rows = demo.truth["faults"] + demo.truth["harmless"]
    assert len(demo.truth["faults"]) == len(FAULTS)
    for row in rows:
        assert row["fault"] in set(Fault)
        assert 0.0 <= row["onset_s"] < row["end_s"] <= DURATION_S
        assert row["remark"]


def test_healthy_take_has_no_faults(healthy: Rendered) -> None:
    """The healthy twin's truth names no fault."""
    assert healthy.truth["faults"] == []


def test_repository_stays_small() -> None:
    """All sources of the demo together stay under 5 MB in the repository."""
    here = Path(demo_audio.__file__).parent
    files = [p for p in here.rglob("*") if p.is_file() and "__pycache__" not in p.parts]
    assert sum(p.stat().st_size for p in files) < REPOSITORY_LIMIT_BYTES

"""From what was asked to source and plan; the live input is looked for by name."""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile

from engine.model.commands import Open
from engine.plan.load import PlanError, load_plan, parse_plan
from engine.runtime.open_source import fitting_plan, open_source, plan_from, plan_text
from engine.sources.base import SourceError, SourceInfo
from engine.sources.device import InputDevice, choose_same
from tests.support.signals import noise

LIVE = SourceInfo("tower interface", 48_000, 3, ("",) * 3, live=True)


def device(index: int, name: str, host_api: str = "ALSA") -> InputDevice:
    """An input as it is listed."""
    return InputDevice(index, name, host_api, 16, 48_000)


def test_nothing_named_is_refused() -> None:
    """A request without take or input says what to name."""
    with pytest.raises(SourceError, match="name a take or a live input"):
        open_source(Open())


def test_a_take_is_opened_from_where_it_was_asked(tmp_path: Path) -> None:
    """The first block is that of the place named."""
    sound = noise(-20.0, 2.0, 48_000, tracks=2)
    soundfile.write(tmp_path / "take.wav", sound, 48_000, subtype="FLOAT")
    source = open_source(Open(take=str(tmp_path / "take.wav"), start_s=1.5, speed=100.0))
    block = source.read(1.0)
    source.close()
    assert block is not None
    assert block.samples.tobytes() == sound[72_000 : 72_000 + len(block.samples)].tobytes()


def test_without_a_plan_every_input_is_a_lav() -> None:
    """One track for each channel, and the text of such a plan loads as the same plan."""
    plan = fitting_plan(None, LIVE)
    assert [track.input for track in plan.tracks] == [1, 2, 3]


def test_the_plan_as_it_was_can_be_loaded_again(tmp_path: Path) -> None:
    """What the log keeps of a plan is the file's own text; without a file a plan that loads."""
    file = tmp_path / "plan.toml"
    file.write_text("# ours\n[[track]]\ninput = 2\n", encoding="utf-8")
    assert plan_text(file, load_plan(file)) == file.read_text(encoding="utf-8")
    marked = "\ufeff# ours\r\n[[track]]\r\ninput = 2\r\n"  # as some editors save it
    file.write_bytes(marked.encode())
    assert [t.input for t in parse_plan(plan_text(file, load_plan(file))).tracks] == [2]
    made = fitting_plan(None, LIVE)
    file.write_text(plan_text(None, made), encoding="utf-8")
    assert [track.input for track in load_plan(file).tracks] == [1, 2, 3]


def test_a_plan_with_more_inputs_than_there_are_is_refused(tmp_path: Path) -> None:
    """The plan is checked against the source."""
    file = tmp_path / "plan.toml"
    file.write_text("[[track]]\ninput = 4\n", encoding="utf-8")
    with pytest.raises(PlanError):
        fitting_plan(file, LIVE)


def test_the_same_name_is_found_under_another_index() -> None:
    """Name counts, not number; part of a name does not."""
    inputs = (device(0, "built-in"), device(5, "tower interface"), device(6, "tower interface 2"))
    assert choose_same("tower interface", "ALSA", inputs).index == 5
    with pytest.raises(SourceError, match="tower is gone"):
        choose_same("tower", "ALSA", inputs)


def test_another_card_number_is_the_same_interface() -> None:
    """ALSA's card number behind the name may change when the cable is put back."""
    inputs = (device(0, "built-in (hw:0,0)"), device(3, "Tower: USB Audio (hw:2,0)"))
    assert choose_same("Tower: USB Audio (hw:1,0)", "ALSA", inputs).index == 3


def test_one_interface_under_several_host_apis_is_told_apart() -> None:
    """Of several of one name the one reached in the same way is taken; else it is said."""
    inputs = (device(1, "tower", "MME"), device(2, "tower", "Windows WASAPI"))
    assert choose_same("tower", "Windows WASAPI", inputs).index == 2
    with pytest.raises(SourceError, match="there 2 times"):
        choose_same("tower", "ASIO", inputs)


def test_a_plan_is_taken_over_without_its_date(tmp_path: Path) -> None:
    """Another night has the same names and another date."""
    path = tmp_path / "last.toml"
    path.write_text(
        '[take]\ndate = "2026-05-01"\ntitle = "Bell"\n[[track]]\ninput = 3\nname = "A"\n'
    )
    text, inputs = plan_from(str(path))
    plan = parse_plan(text)
    assert (plan.date, plan.title, plan.tracks[0].name, inputs) == ("", "Bell", "A", 3)


def test_a_table_without_rows_is_said_in_one_line(tmp_path: Path) -> None:
    """As of any source that can't be read."""
    path = tmp_path / "empty.csv"
    path.write_text("")
    with pytest.raises(SourceError, match="no row"):
        plan_from(str(path))

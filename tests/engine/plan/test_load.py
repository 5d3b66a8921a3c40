"""The plan file: what is accepted, and that every mistake is named with its line and key."""

from __future__ import annotations

import math
import os
import time
from pathlib import Path

import pytest

from engine.model.messages import Kind, PackLevel
from engine.model.safe_text import is_harmless
from engine.plan.load import LONGEST_FILE_BYTES, PlanError, load_plan
from tests.support.plan_texts import EVERY_MISTAKE, EXPECTED, GOOD, mistakes


def test_all_that_a_plan_says_is_loaded(write):
    """Each key of a plan ends up in its field, and the tracks come in input order."""
    plan = load_plan(write(GOOD), inputs=2)
    assert (plan.title, plan.frame_rate) == ("Night exercise", "29.97df")
    main, safety = plan.tracks
    assert (main.input, main.kind, main.level) == (1, Kind.LAV, PackLevel.MAIN)
    assert (safety.input, safety.name, safety.who) == (2, "Ringer safety", "Ringer")
    assert (safety.pack, safety.placement, safety.receiver) == ("8", "left shoulder", "A")
    assert (safety.level, safety.battery) == (PackLevel.SAFETY, "3h30")
    assert (safety.limit("silent_amber_s"), safety.limit("muted")) == (4.0, "off")
    assert (main.limit("silent_amber_s"), main.limit("silent_red_s")) == (10.0, math.inf)


def test_only_input_is_required(write):
    """A track that gives its input alone is a lav at 25 frames a second."""
    plan = load_plan(write("[[track]]\ninput = 1\n"))
    assert plan.frame_rate == "25"
    assert [(track.kind, track.label) for track in plan.tracks] == [(Kind.LAV, "Track 1")]


def test_every_mistake_is_named_at_once(write):
    """A plan with every kind of mistake is told all of them, each by line, key and remedy."""
    found = mistakes(write(EVERY_MISTAKE), inputs=12)
    assert found.keys() == EXPECTED.keys()
    assert {place: text for place, text in EXPECTED.items() if text not in found[place]} == {}


def test_each_mistake_is_one_printable_line(write):
    """The error as text is one line a mistake, without anything that steers a terminal."""
    path = write('"a\\u001b[2Jb" = 1\n[[track]]\ninput = 1\nkind = "la\\nv"\nwho = "a\\u202eb"\n')
    with pytest.raises(PlanError) as refused:
        load_plan(path)
    lines = str(refused.value).split("\n")
    assert len(lines) == 3
    assert all(is_harmless(character) for line in lines for character in line)
    assert lines[0].startswith(f"{path}: line 1: a?[2Jb: ")


@pytest.mark.parametrize(
    ("content", "line", "key"),
    [
        ("[[track]]\ninput = 1\ninput = 2\nname = 'x'\n", 3, "input"),
        ("[[track]]\ninput = 1\ninput = 2", 3, "input"),
        ("[take]\n[[track]]\ninput = 1\n[take]\n", 4, "take"),
        ('[[track]]\ninput = 1\nname = "Boom\n', 3, "name"),
        ("[[track]]\ninput =\n", 2, "input"),
        ("[[track]]\ninput 1\n", 2, "input"),
        ("[[track]]\ninput = 1\n[[track\ninput = 2\n", 3, "track"),
        ('[[track]]\r\ninput = 1\r\nname = "a\x01"\r\n', 3, "name"),
        ("[[track]]\ninput = " + "9" * 900 + ".\n", 2, "input"),
    ],
)
def test_syntax_errors_name_their_line(write, content, line, key):
    """What is no TOML, or gives a key twice, is one mistake on the line where it stands."""
    assert list(mistakes(write(content))) == [(line, key)]


@pytest.mark.parametrize("content", ["", "\n\n", "# nothing\n", "\ufeff", "[take]\ntitle = 'x'\n"])
def test_a_plan_without_tracks_is_refused(write, content):
    """An empty plan is a mistake of its first line."""
    assert list(mistakes(write(content))) == [(1, "track")]


@pytest.mark.parametrize("encode", [str.encode, lambda text: text.encode("utf-8-sig")])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_byte_order_mark_and_line_ends_do_not_matter(write, encode, line_end):
    """A plan saved on another system loads the same, and its mistakes keep their lines."""
    assert load_plan(write(encode(GOOD.replace("\n", line_end)))) == load_plan(write(GOOD))
    bad = write(encode(EVERY_MISTAKE.replace("\n", line_end)))
    assert mistakes(bad, inputs=12).keys() == EXPECTED.keys()


def test_files_that_are_no_plan_are_refused(write, tmp_path):
    """What cannot be read, is no file, no UTF-8, or far too large is one clear mistake."""
    assert "directory" in str(mistakes(tmp_path)) or "not a file" in str(mistakes(tmp_path))
    assert "cannot be read" in mistakes(tmp_path / "none.toml")[0, ""]
    assert "cannot be read" in mistakes(Path("a\0b"))[0, ""]
    assert "UTF-8" in mistakes(write(b"[take]\ntitle = '\xe9'\n"))[2, ""]
    assert "UTF-8" in mistakes(write("[take]\n".encode("utf-16")))[1, ""]
    assert "larger" in mistakes(write(b"#" * (LONGEST_FILE_BYTES + 1)))[0, ""]
    assert "longer than" in mistakes(write("\n#" + "x" * 1000))[2, ""]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_does_not_hang(tmp_path):
    """A named pipe that nobody writes to is refused, not waited for."""
    os.mkfifo(tmp_path / "pipe.toml")
    assert "not a file" in mistakes(tmp_path / "pipe.toml")[0, ""]


@pytest.mark.parametrize(
    "content",
    [
        "a = " + "[\n" * 40_000,
        "a = " + "[\n" * 400 + "]\n" * 400,
        "a = " + "{b=" * 300,
        "\n".join("a" + ".a" * 480 + f".b{n} = 1" for n in range(130)),
        "\n".join("[" + "a." * 480 + f"b{n}]" for n in range(130)),
        "".join(f"silent_{n} = 1\n" for n in range(8_000)),
        "[[track]]\n" * 12_000,
        'a = """' + '\\"\n' * 40_000 + '"""',
    ],
)
def test_hostile_files_are_refused_quickly(write, content):
    """Deep nesting, endless dotted keys and thousands of mistakes are refused within seconds."""
    begin_s = time.process_time()
    assert mistakes(write(content))
    assert time.process_time() - begin_s < 5.0

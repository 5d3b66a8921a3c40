"""The plan file: what is accepted, and that every mistake is named with its line and key."""

from __future__ import annotations

import math
import os
import time
import unicodedata
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.model.messages import Kind, PackLevel
from engine.model.safe_text import is_harmless
from engine.plan.check import FRAME_RATES, LONGEST_TEXT
from engine.plan.load import LONGEST_FILE_BYTES, PlanError, PlanMistake, load_plan, new_plan

GOOD = """\
[take]
title = "Night exercise"
frame_rate = "29.97df"

[[track]]
input = 2
name = "Ringer safety"
kind = "lav"
who = "Ringer"
level = "safety"
pack = "8"
placement = "left shoulder"
receiver = "A"
battery = "3h30"
[track.limits]
silent_amber_s = 4
muted = "off"

[[track]]
input = 1
who = "Ringer"
level = "main"

[limits.lav]
silent_amber_s = 10.0
silent_red_s = inf
presence_dbfs = -66.0
"""

EVERY_MISTAKE = """\
colour = "red"
[take]
title = 7
frame_rate = 25
speed = 1
[[track]]
input = true
name = "Bell\\u0007"
kind = "Lav"
[[track]]
name = " Bowman"
[[track]]
input = 3
who = "Ringer"
level = "main"
batery = "4h"
battery = "four"
[track.limits]
silent_amber_s = nan
silent_red_z = 4
hum = true
[[track]]
input = 3
who = "Ringer"
level = "main"
[[track]]
input = 13
level = "safety"
limits.low_dbfs = 3
[limits.lav]
silent_amber_s = 10
silent_red_s = 5
presence_dbfs = inf
[limits.radio]
hum = "off"
[limits]
boom = 3
"""

EXPECTED = {
    (1, "colour"): "allowed: take, track, limits",
    (3, "take.title"): "text in double quotes",
    (4, "take.frame_rate"): ", ".join(FRAME_RATES),
    (5, "take.speed"): "allowed: title, frame_rate, rolling",
    (7, "track.input"): "whole number",
    (8, "track.name"): "control characters",
    (9, "track.kind"): 'did you mean "lav"? allowed, in double quotes: lav, boom, ambience',
    (10, "track"): "input is missing",
    (11, "track.name"): "no blank at its beginning",
    (16, "track.batery"): 'did you mean "battery"?',
    (17, "track.battery"): '"3h30"',
    (19, "track.limits.silent_amber_s"): "a number from 0 to 86400, or inf for never (s)",
    (20, "track.limits.silent_red_z"): 'did you mean "silent_red_s"?',
    (21, "track.limits.hum"): "on, off",
    (23, "track.input"): "taken by line 13",
    (25, "track.level"): '"Ringer" has a main already, on line 15',
    (27, "track.input"): "allowed: 1 to 12",
    (28, "track.level"): "needs a who",
    (29, "track.limits.low_dbfs"): "-150 to 0 (dBFS)",
    (31, "limits.lav.silent_amber_s"): "at most 5",
    (33, "limits.lav.presence_dbfs"): "-150 to 0 (dBFS)",
    (34, "limits.radio"): "allowed: lav, boom",
    (37, "limits.boom"): "must be a table",
}


@pytest.fixture
def write(tmp_path: Path):
    """Write a plan, text or bytes, and return its path."""

    def write(content: str | bytes) -> Path:
        path = tmp_path / "plan.toml"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def mistakes(path: Path, inputs: int | None = None) -> dict[tuple[int, str], str]:
    """What is wrong with that plan: message by line and key."""
    with pytest.raises(PlanError) as refused:
        load_plan(path, inputs)
    found = refused.value.mistakes
    assert found
    assert list(found) == sorted(found, key=lambda mistake: mistake.line)
    return {(mistake.line, mistake.key): mistake.message for mistake in found}


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


@pytest.mark.parametrize(
    ("content", "place", "text"),
    [
        ("[track]\ninput = 1\n", (1, "track"), "[[track]]"),
        ("x = 1\ntrack = 3\n", (2, "track"), "[[track]]"),
        ("track = []\n", (1, "track"), "a plan needs a track"),
        ("track = [\n{input = 1},\n7]\n", (3, "track"), "must be a table"),
        ("take = 1\n[[track]]\ninput = 1\n", (1, "take"), "must be a table"),
        ("limits = []\n[[track]]\ninput = 1\n", (1, "limits"), "must be a table"),
        ("[[track]]\ninput = 1\nlimits = 'x'\n", (3, "track.limits"), "must be a table"),
        ("[[track]]\ninput = 1.0\n", (2, "track.input"), "whole number"),
        ("[[track]]\ninput = 0\n", (2, "track.input"), "from 1"),
        ("[[track]]\ninput = 1\nwho = 3\nlevel = 'main'\n", (3, "track.who"), "text"),
        ("[[track]]\ninput = 1\nname = 2024-01-01\n", (3, "track.name"), "text"),
        (f"[[track]]\ninput = 1\nname = '{'x' * 201}'\n", (3, "track.name"), "at most 200"),
    ],
)
def test_wrong_shapes_say_what_is_right(write, content, place, text):
    """A table, list or value where another belongs is told what belongs there."""
    assert text in mistakes(write(content))[place]


@pytest.mark.parametrize(
    "given", ["true", "'10'", "nan", "-nan", "-0.1", "-inf", "86401", "1" + "0" * 400]
)
def test_seconds_are_numbers_from_zero(write, given):
    """A limit in seconds takes no text, no switch, nothing below 0 and no non-number."""
    content = f"[[track]]\ninput = 1\n[limits.boom]\nsilent_red_s = {given}\n"
    assert "from 0 to 86400, or inf" in mistakes(write(content))[4, "limits.boom.silent_red_s"]


@pytest.mark.parametrize("given", ["600.1", "1e9", "inf"])
@pytest.mark.parametrize("name", ["low_amber_s", "polarity_amber_s", "pair_drift_amber_s"])
def test_seconds_of_speech_are_bounded(write, name, given):
    """Speech is kept in memory while it is added up: no plan may ask for hours of it."""
    content = f"[[track]]\ninput = 1\n[limits.lav]\n{name} = {given}\n"
    assert "from 0 to 600 (s)" in mistakes(write(content))[4, f"limits.lav.{name}"]


@pytest.mark.parametrize("given", ["-150", "0", "-0.0", "-66.5"])
def test_the_range_of_a_level_includes_its_ends(write, given):
    """A level limit accepts its lowest and its highest value."""
    content = f"[[track]]\ninput = 1\n[limits.lav]\npresence_dbfs = {given}\n"
    assert load_plan(write(content)).tracks[0].limit("presence_dbfs") == float(given)


@pytest.mark.parametrize("given", ["-150.001", "0.001", "inf"])
def test_the_range_of_a_level_ends_there(write, given):
    """One step past either end of a level's range is refused."""
    content = f"[[track]]\ninput = 1\n[limits.lav]\npresence_dbfs = {given}\n"
    assert (4, "limits.lav.presence_dbfs") in mistakes(write(content))


@pytest.mark.parametrize("rate", FRAME_RATES)
def test_each_frame_rate_is_accepted(write, rate):
    """Every frame rate of CONTRACT.md is taken as text."""
    assert load_plan(write(f"take.frame_rate = '{rate}'\ntrack = [{{input = 1}}]"))


@pytest.mark.parametrize("rolling", ["hand", "timecode"])
def test_what_tells_that_the_recorder_rolls(write, rolling):
    """The crew by hand, as where nothing is said, or record-run code of a timecode track."""
    track = '[[track]]\ninput = 1\nkind = "timecode"\n'
    assert load_plan(write(track)).rolling == "hand"
    assert load_plan(write(f'[take]\nrolling = "{rolling}"\n{track}')).rolling == rolling


def test_rolling_by_timecode_needs_a_timecode_track(write):
    """Without a track that carries code nothing could tell it; other words are refused."""
    without = '[take]\nrolling = "timecode"\n[[track]]\ninput = 1\n'
    assert mistakes(write(without)) == {
        (2, "take.rolling"): 'needs a track of kind = "timecode" that tells it'
    }
    other = mistakes(write(without.replace('"timecode"', '"auto"')))
    assert other[2, "take.rolling"].endswith("hand, timecode")


@pytest.mark.parametrize("battery", ["4h", "3h30", "12h05", "90min", "0h30", ""])
def test_battery_times_are_accepted(write, battery):
    """Hours, hours with minutes, or minutes say how long a battery lasts."""
    path = write(f"[[track]]\ninput = 1\nbattery = '{battery}'\n")
    assert load_plan(path).tracks[0].battery == battery


@pytest.mark.parametrize("battery", ["4", "3h60", "0h", "00min", "4 h", "4H", "-4h", "h", "٤h"])
def test_other_battery_times_are_refused(write, battery):
    """What is no time, or no time at all, is not guessed at."""
    assert (3, "track.battery") in mistakes(write(f"[[track]]\ninput = 1\nbattery = '{battery}'\n"))


@pytest.mark.parametrize("encode", [str.encode, lambda text: text.encode("utf-8-sig")])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_byte_order_mark_and_line_ends_do_not_matter(write, encode, line_end):
    """A plan saved on another system loads the same, and its mistakes keep their lines."""
    assert load_plan(write(encode(GOOD.replace("\n", line_end)))) == load_plan(write(GOOD))
    bad = write(encode(EVERY_MISTAKE.replace("\n", line_end)))
    assert mistakes(bad, inputs=12).keys() == EXPECTED.keys()


def test_a_who_is_one_person_however_its_letters_are_composed(write):
    """Two spellings that show alike are one `who`, so a pair is not lost."""
    names = [unicodedata.normalize(form, "Mécanicien") for form in ("NFC", "NFD")]
    content = "".join(f"[[track]]\ninput = {n}\nwho = '{w}'\n" for n, w in enumerate(names, 1))
    assert len({track.who for track in load_plan(write(content)).tracks}) == 1


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


# --- properties ---

TEXTS = st.text(max_size=30)
SAFE = st.text("abc XYZ019äß語#=[]{}'\"\\.,", max_size=20).map(str.strip)


@given(st.lists(TEXTS, min_size=1, max_size=8), TEXTS, st.sampled_from(FRAME_RATES))
def test_a_new_plan_loads_without_mistakes(tmp_path_factory, names, title, frame_rate):
    """Whatever names a take gives, the plan written for it loads and holds them."""
    path = tmp_path_factory.getbasetemp() / "new.toml"
    path.write_bytes(new_plan(names, title, frame_rate).encode())
    plan = load_plan(path, inputs=len(names))
    assert plan.frame_rate == frame_rate
    assert [track.input for track in plan.tracks] == list(range(1, len(names) + 1))
    for text, loaded in zip(
        [title, *names], [plan.title, *(t.name for t in plan.tracks)], strict=True
    ):
        clean = "".join(c if is_harmless(c) else " " for c in unicodedata.normalize("NFC", text))
        assert loaded == clean.strip()


def test_a_new_plan_shortens_what_a_plan_refuses(write):
    """A name too long for a plan is cut and says so; no inputs or an odd rate are refused."""
    name = load_plan(write(new_plan(['"\\' * LONGEST_TEXT]))).tracks[0].name
    assert len(name) == LONGEST_TEXT
    assert name.endswith("…")
    with pytest.raises(ValueError, match="at least one input"):
        new_plan([])
    with pytest.raises(ValueError, match=r"allowed: 23\.976"):
        new_plan(["Boom"], frame_rate="26")


@st.composite
def planted(draw: st.DrawFn) -> tuple[str, int, str]:
    """A valid plan in varied TOML with one mistake planted: text, its line, its key."""
    filler = st.sampled_from(["", "\n", "# input = 0 [[track]]\n", '\n# \'x" """\n', "\t \n"])
    assign = st.sampled_from([" = ", "=", "\t= "])
    bad_key, bad = draw(
        st.sampled_from(
            [
                ("wrong", "1"),
                ("kind", '"lapel"'),
                ("name", "[1, 2]"),
                ("battery", "'long'"),
                ("limits.hum", "1"),
                ("limits.silent_red_s", "-1"),
                ('"\\u0077rong"', "{ a = [ 1, { b = '#' } ] }"),
                ("'limits' . \"low_dbfs\"", '"""\nx"""'),
            ]
        )
    )
    named = {'"\\u0077rong"': "wrong", "'limits' . \"low_dbfs\"": "limits.low_dbfs"}
    count = draw(st.integers(1, 5))
    victim = draw(st.integers(0, count - 1))
    text = draw(filler)
    line = 0
    for place in range(count):
        text += draw(filler) + draw(st.sampled_from(["[[track]]", "[[ 'track' ]] # [take]"])) + "\n"
        pairs = [("input", str(place + 1)), ("pack", "'''" + draw(filler).strip() + "'''")]
        pairs.append(("who", '"' + draw(SAFE).replace("\\", "\\\\").replace('"', '\\"') + '"'))
        pairs.append(("placement", '"""\\\n\n   deck"""'))
        if place == victim:
            pairs.insert(draw(st.integers(0, 4)), (bad_key, bad))
        for key, value in pairs:
            text += draw(filler)
            line = text.count("\n") + 1 if key == bad_key else line
            text += f"{key}{draw(assign)}{value}{draw(st.sampled_from(['', ' # x = 1']))}\n"
        limits = draw(st.booleans()) and not (place == victim and "limits" in bad_key)
        text += "[track.limits]\nhum_amber_s = 1_0.5\n" if limits else ""
    return text, line, f"track.{named.get(bad_key, bad_key)}"


@given(planted(), st.sampled_from(["\n", "\r\n"]))
@settings(max_examples=400, suppress_health_check=[HealthCheck.too_slow])
def test_a_planted_mistake_is_found_on_its_line(tmp_path_factory, case, line_end):
    """However a plan is laid out, one mistake in it is reported alone, by its line and key."""
    text, line, key = case
    path = tmp_path_factory.getbasetemp() / "planted.toml"
    path.write_bytes(text.replace("\n", line_end).encode())
    assert list(mistakes(path)) == [(line, key)]


MUTATIONS = st.lists(
    st.tuples(
        st.integers(0, 2000),
        st.integers(0, 12),
        st.one_of(
            st.binary(max_size=4),
            st.sampled_from(
                [b'"', b"[", b"]", b"{", b"=", b"\n", b".", b'"""', b"#", b"inf", b"-"]
            ),
        ),
    ),
    min_size=1,
    max_size=4,
)


@given(st.sampled_from([GOOD, EVERY_MISTAKE, new_plan(["Boom 1", "Ringer"], "Drill")]), MUTATIONS)
@settings(max_examples=2500, deadline=1000)
def test_a_mutated_plan_is_loaded_or_refused(tmp_path_factory, content, mutations):
    """Whatever happens to a plan's bytes, it loads or it is refused with lines that exist."""
    data = content.encode()
    for at, removed, added in mutations:
        at %= len(data) + 1
        data = data[:at] + added + data[at + removed :]
    path = tmp_path_factory.getbasetemp() / "mutated.toml"
    path.write_bytes(data)
    found: tuple[PlanMistake, ...] | None = None
    try:
        load_plan(path, inputs=12)
    except PlanError as error:
        found = error.mistakes
    assert found != ()
    assert all(0 <= mistake.line <= data.count(b"\n") + 1 for mistake in found or ())


def test_a_plan_heads_the_report(write):
    """Production, location and mixer are texts, the date a date or a text; else it is refused."""
    text = (
        "[take]\nproduction = 'Bell'\nlocation = 'Scaffold'\nmixer = 'Mixer'\ndate = {}\n"
        "[[track]]\ninput = 1\n"
    )
    plan = load_plan(write(text.format("2026-03-14")))
    assert (plan.production, plan.location, plan.mixer) == ("Bell", "Scaffold", "Mixer")
    assert plan.date == "2026-03-14"
    assert load_plan(write(text.format("'14 to 15 March'"))).date == "14 to 15 March"
    for wrong in ("7", "2026-03-14T10:00:00", "'a\u202eb'"):
        assert list(mistakes(write(text.format(wrong)))) == [(5, "take.date")]

"""What each key of a plan may hold."""

from __future__ import annotations

import unicodedata

import pytest

from engine.plan.keys import FRAME_RATES
from engine.plan.load import load_plan
from tests.support.plan_texts import mistakes


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


def test_a_who_is_one_person_however_its_letters_are_composed(write):
    """Two spellings that show alike are one `who`, so a pair is not lost."""
    names = [unicodedata.normalize(form, "Mécanicien") for form in ("NFC", "NFD")]
    content = "".join(f"[[track]]\ninput = {n}\nwho = '{w}'\n" for n, w in enumerate(names, 1))
    assert len({track.who for track in load_plan(write(content)).tracks}) == 1


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

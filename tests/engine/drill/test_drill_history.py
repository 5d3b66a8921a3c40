"""The crew's earlier drills."""

from __future__ import annotations

import stat
from dataclasses import replace
from pathlib import Path

from engine.drill.drill_history import Past, earlier, keep, others
from engine.drill.history_chart import HEIGHT, WIDTH, picture
from engine.report.layout.drawing import Box, Words

ONE = Past("s1", 1000, "take.wav", 7, "real", False, 4, 1, 2, 0, 4, 3.5, 0.6, 1.0)


def test_drills_are_kept_for_their_owner_alone(tmp_path: Path) -> None:
    """What was kept comes back, oldest first, from a file that nobody else can read."""
    path = tmp_path / "deep" / "drills.jsonl"
    assert earlier(path) == ()
    later = replace(ONE, session="s2", utc_ms=2000, seen_s=None)
    for past in (later, ONE):
        keep(path, past)
    assert earlier(path) == (ONE, later)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert others(earlier(path), "s2") == (ONE,)


def test_a_damaged_line_costs_only_itself(tmp_path: Path) -> None:
    """Torn, foreign and repeated lines: the others are still there, each session once."""
    path = tmp_path / "drills.jsonl"
    keep(path, ONE)
    with path.open("ab") as file:
        file.write(b'{"session": "torn\n\xff\xfe\n{"a": 1}\n')
    keep(path, replace(ONE, right=3))
    assert earlier(path) == (replace(ONE, right=3),)


def test_drills_kept_before_stopped_was_known_are_read(tmp_path: Path) -> None:
    """A line without it is a drill that went to its end; one with it keeps it."""
    path = tmp_path / "drills.jsonl"
    keep(path, replace(ONE, session="s2", utc_ms=2000, stopped=True))
    keep(path, ONE)
    path.write_text(path.read_text("utf-8").replace(', "stopped": false', ""), "utf-8")
    assert earlier(path) == (ONE, replace(ONE, session="s2", utc_ms=2000, stopped=True))


def test_one_that_was_ended_early_is_marked() -> None:
    """A star at its level, and what the star means; none where none was."""
    ended = picture((replace(ONE, stopped=True),), *["#000000"] * 5)
    words = {shape.text for shape in ended.shapes if isinstance(shape, Words)}
    assert {"real*", "* ended early"} <= words
    plain = picture((ONE,), *["#000000"] * 5)
    assert not any("*" in shape.text for shape in plain.shapes if isinstance(shape, Words))


def test_the_picture_stays_in_its_frame() -> None:
    """None, one or many drills: all is drawn inside; one in which nothing was seen shows."""
    many = tuple(
        replace(ONE, session=f"s{n}", seen_s=None if n == 18 else 1.7 * n) for n in range(20)
    )
    for drills in ((), (ONE,), many):
        drawing = picture(drills, "#000000", "#555555", "#dddddd", "#1c5d91", "#b3140a")
        for shape in drawing.shapes:
            if isinstance(shape, Box | Words):
                assert 0.0 <= shape.x <= WIDTH
                assert 0.0 <= shape.y <= HEIGHT
    assert "unseen" in picture(many, *["#000000"] * 5).title

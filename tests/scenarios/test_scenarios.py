"""Stories from a shoot: what went wrong when, and which alarms are to come of it.

Each file in `scenarios` plants faults on a timeline and lists every alarm expected, with times to
within its tolerance; an alarm that is not listed fails the story.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from engine.model.messages import Incident, Kind, PackLevel
from engine.model.tracks import Plan, Track
from engine.pipeline.scan import scan_source
from engine.sources.synthetic import ArraySource
from tests.support.scenario_signals import RATE_HZ, make

STORIES = sorted(Path(__file__).parent.glob("*.toml"))
TIMES = ("onset_s", "amber_s", "red_s", "end_s")


def tracks_of(story: dict[str, Any]) -> tuple[Track, ...]:
    """The plan of the story."""
    return tuple(
        Track(
            input=entry["input"],
            kind=Kind(entry.get("kind", "lav")),
            who=entry.get("who", ""),
            level=PackLevel(entry["level"]) if "level" in entry else None,
            receiver=entry.get("receiver", ""),
        )
        for entry in story["track"]
    )


def fits(found: Incident, wanted: dict[str, Any], tolerance_s: float) -> bool:
    """The incident is the one the story expects; a time left out means it was not reached."""
    if found.fault.value != wanted["fault"] or found.track != wanted.get("track"):
        return False
    if "tracks" in wanted and list(found.tracks) != wanted["tracks"]:
        return False
    if "covered_by" in wanted and found.covered_by != wanted["covered_by"]:
        return False
    if found.part_of != wanted.get("part_of") or found.uncovered != wanted.get("uncovered", False):
        return False
    if wanted.get("detail", "") not in found.detail:
        return False
    for name in TIMES:
        at_s, due_s = getattr(found, name), wanted.get(name)
        if (at_s is None) is not (due_s is None):
            return False
        if at_s is not None and abs(at_s - due_s) > tolerance_s + 1e-6:
            return False
    return True


@pytest.mark.parametrize("path", STORIES, ids=[path.stem for path in STORIES])
def test_story(path: Path) -> None:
    """The story raises the alarms it expects at their times, and no others."""
    story = tomllib.loads(path.read_text(encoding="utf-8"))
    tracks = tracks_of(story)
    source = ArraySource(make(tracks, story), RATE_HZ)
    left = list(scan_source(source, Plan(tracks)).incidents)
    for wanted in story.get("alarm", []):
        match = next((i for i in left if fits(i, wanted, story.get("tolerance_s", 0.1))), None)
        assert match is not None, f"missing: {wanted}; found: {left}"
        left.remove(match)
    assert not left, f"not expected: {left}"


def test_there_are_stories() -> None:
    """The folder of stories is found."""
    assert len(STORIES) >= 8

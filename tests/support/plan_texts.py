"""Plans as text, right and wrong, and the mistakes found in one."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.plan.keys import FRAME_RATES
from engine.plan.load import PlanError, load_plan

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


def mistakes(path: Path, inputs: int | None = None) -> dict[tuple[int, str], str]:
    """What is wrong with that plan: message by line and key."""
    with pytest.raises(PlanError) as refused:
        load_plan(path, inputs)
    found = refused.value.mistakes
    assert found
    assert list(found) == sorted(found, key=lambda mistake: mistake.line)
    return {(mistake.line, mistake.key): mistake.message for mistake in found}

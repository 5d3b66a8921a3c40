"""The text of a new plan, to be filled in."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Sequence
from typing import Final

from engine.model.messages import Kind
from engine.model.safe_text import is_harmless
from engine.plan.keys import FRAME_RATES, LONGEST_TEXT

_HEAD: Final = """\
# Plan: what each input carries. Of a track only `input` is required; leave empty what does not
# apply. Check it with: trackwarden plan check THIS_FILE

[take]
title = {title}
{frame_rate}  # {frame_rates}
# rolling = "timecode"  # record-run code on a timecode track tells when the recorder rolls
production = ""
date = ""        # 2026-05-01, or "1 to 2 May 2026"
mixer = ""
location = ""
# ends = "23:30"  # planned end: batteries that will not last to it are told early

# kind       {kinds}
# who        performer or position; the two packs of one performer have the same who
# level      main or safety; delete the # only if this performer wears two packs
# pack       label on the transmitter
# placement  where the pack or mic sits
# receiver   receiver rack or antenna system it comes through
# battery    how long a fresh battery lasts: 4h, 3h30, 90min
"""

_TRACK: Final = """
[[track]]
input = {input}
name = {name}
kind = "lav"
who = ""
# level = "main"
pack = ""
placement = ""
receiver = ""
battery = ""
"""

_TAIL: Final = """
# Limits of one kind, where the usual ones do not fit; take the # away:
# [limits.lav]
# silent_amber_s = 10.0
# silent_red_s = 20.0  # inf: never
"""


def new_plan(names: Sequence[str], title: str = "", frame_rate: str = "25") -> str:
    """The text of a plan with one lav track for each name, on inputs 1, 2 and on.

    Characters that a plan refuses (line breaks, control characters) become blanks, and a text too
    long for a plan ends in "…". Without a frame rate the line for it stays to be filled in.

    Raises
    ------
    ValueError
        If there is no name, or no such frame rate.
    """
    if not names:
        raise ValueError("a plan needs at least one input")
    if frame_rate and frame_rate not in FRAME_RATES:
        raise ValueError(f"no such frame rate: {frame_rate}; allowed: {', '.join(FRAME_RATES)}")
    head = _HEAD.format(
        title=_quoted(title),
        frame_rate=f"frame_rate = {_quoted(frame_rate)}" if frame_rate else "# frame_rate = ",
        frame_rates=", ".join(FRAME_RATES),
        kinds=" | ".join(Kind),
    )
    tracks = (_TRACK.format(input=n, name=_quoted(name)) for n, name in enumerate(names, start=1))
    return head + "".join(tracks) + _TAIL


def _quoted(text: str) -> str:
    """`text` as a TOML basic string that a plan accepts."""
    clean = "".join(c if is_harmless(c) else " " for c in unicodedata.normalize("NFC", text))
    clean = clean.strip()
    if len(clean) > LONGEST_TEXT:
        clean = clean[: LONGEST_TEXT - 1].rstrip() + "…"
    # Without control characters, JSON and TOML escape alike: only the quote and the backslash.
    return json.dumps(clean, ensure_ascii=False)

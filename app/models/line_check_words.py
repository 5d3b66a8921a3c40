"""The words of a line check. No Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from engine.model.line_results import (
    PEAK_DBFS,
    SAFETY_DB,
    SPEECH_DBFS,
    Heard,
    LineCheck,
    LineResult,
    Verdict,
)
from engine.model.messages import Kind, PackLevel
from engine.model.number_text import number
from engine.model.tracks import Plan, Track

MARKS: Final = {
    None: "○",
    Verdict.PASSED: "✓",
    Verdict.FAILED: "✕",
    Verdict.SKIPPED: "–",
}
_PROMPTS: Final = {
    Kind.AMBIENCE: "Leave it open to the background, then clap or tap the mic twice.",
    Kind.COMMS: "Say a word on the talkback.",
    Kind.TIMECODE: "Run the timecode.",
}
NONE_YET: Final = "—"


@dataclass(frozen=True, slots=True)
class Fact:
    """A line of the table: what, and how much."""

    name: str
    words: str


def prompt(track: Track) -> str:
    """What somebody is to do now."""
    return _PROMPTS.get(track.kind, "Speak as in the scene, or tap the mic twice.")


def place_words(track: Track) -> str:
    """Where to find it: pack, place, receiver."""
    parts = [f"Pack {track.pack}" if track.pack else "", track.placement]
    parts.append(f"receiver {track.receiver}" if track.receiver else "")
    return " · ".join(part for part in parts if part)


def verdict_words(heard: Heard) -> str:
    """Whether a signal came."""
    if heard.elsewhere is not None:
        return f"Comes up on input {heard.elsewhere}"
    if heard.enough:
        return "Signal heard: that is enough"
    return "Signal heard, keep going…" if heard.came else "Nothing yet…"


def dbfs(value: float | None) -> str:
    """A level with a true minus sign; a dash where there is none."""
    return NONE_YET if value is None else number(value, "dBFS", digits=0)


def evidence(result: LineResult) -> str:
    """What a verdict rests on: level, seconds of speech, taps; or that nothing was heard."""
    heard = result.heard
    if not heard.came:
        return "not heard"
    parts = [dbfs(heard.speech_dbfs)] if heard.speech_dbfs is not None else []
    if heard.peak_dbfs is not None:
        parts.append(f"peak {dbfs(heard.peak_dbfs)}")
    if heard.speech_s >= 0.5:
        parts.append(f"{heard.speech_s:.0f} s of speech")
    if heard.taps:
        parts.append("1 tap" if heard.taps == 1 else f"{heard.taps} taps")
    if heard.code:
        parts.append("timecode")
    return ", ".join(parts)


def facts(heard: Heard, plan: Plan, track: Track) -> list[Fact]:
    """Six lines: speech, peak, floor, offset, polarity, taps."""
    lower_db = SAFETY_DB if track.level is PackLevel.SAFETY else 0.0
    target = ""
    peaks = ""
    if track.kind in (Kind.LAV, Kind.BOOM):
        target = f"  (target {_span(SPEECH_DBFS, lower_db)})"
        peaks = f"  (target {_span(PEAK_DBFS, lower_db)})"
    paired = plan.other_pack(track.input) is not None
    offset = NONE_YET if paired else "one pack only"
    if heard.offset_db is not None:
        over = number(heard.offset_db, "dB", digits=0, signed=True)
        offset = f"main {over} against safety"
    known = {None: NONE_YET if paired else "one pack only", False: "matched", True: "INVERTED"}
    return [
        Fact("Speech", dbfs(heard.speech_dbfs) + target),
        Fact("Peak", dbfs(heard.peak_dbfs) + peaks),
        Fact("Floor", dbfs(heard.floor_dbfs)),
        Fact("Main/safety offset", offset),
        Fact("Main/safety polarity", known[heard.inverted]),
        Fact("Heard", f"{heard.speech_s:.0f} s of speech, {heard.taps} taps"),
    ]


def _span(zone: tuple[float, float], lower_db: float) -> str:
    low, high = (round(edge - lower_db) for edge in zone)
    return f"{number(low, digits=0)} to {number(high, digits=0)}"


def summary(state: LineCheck) -> tuple[str, str]:
    """How the whole check ended: a title, and which tracks failed or were left out."""
    results = [state.result(number) for number in state.order]
    counts = dict.fromkeys(Verdict, 0)
    for result in results:
        if result is not None:
            counts[result.verdict] += 1
    title = ", ".join(f"{count} {verdict.value}" for verdict, count in counts.items() if count)
    left = [
        str(n) + (f" ({r.note})" if r is not None and r.note else "")
        for n, r in zip(state.order, results, strict=True)
        if r is None or r.verdict is not Verdict.PASSED
    ]
    return title or "Nothing checked", f"Still to do: {', '.join(left)}" if left else "All passed."


def sheet(state: LineCheck, plan: Plan) -> list[tuple[str, ...]]:
    """The rows to print: input, name, verdict, when, level, peak, floor, note."""
    names = {t.input: t.label for t in plan.tracks}
    rows: list[tuple[str, ...]] = []
    for track_input in state.order:
        result = state.result(track_input)
        if result is None:
            rows.append(
                (str(track_input), names.get(track_input, ""), "not checked", "", "", "", "", "")
            )
            continue
        heard = result.heard
        levels = (dbfs(heard.speech_dbfs), dbfs(heard.peak_dbfs), dbfs(heard.floor_dbfs))
        verdict = (names.get(track_input, ""), result.verdict.value, result.timecode)
        rows.append((str(track_input), *verdict, *levels, result.note))
    return rows

"""The score in words and as blocks of a page to print. Pure."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from typing import Final

from engine.drill.drill_history import Past
from engine.drill.history_chart import picture
from engine.drill.read_log import Drill
from engine.drill.score import Result, Score
from engine.model.fault_remedies import word
from engine.model.tracks import Track
from engine.report.content.words import count as count_of
from engine.report.content.words import numbers
from engine.report.layout import palette
from engine.report.layout.blocks import (
    Block,
    Cell,
    Column,
    Facts,
    Heading,
    Pictures,
    Table,
    Text,
    Tone,
)

NONE: Final = "–"
HEADS: Final = (
    "At",
    "Track",
    "What it was",
    "Seen after",
    "You said",
    "Verdict",
    "trackwarden said",
)
_SHARES: Final = (0.08, 0.24, 0.15, 0.12, 0.15, 0.1, 0.24)


def heading(drill: Drill) -> str:
    """Level and seed in one line: all that is needed to run it again; and where it was ended."""
    blind = ", blind" if drill.blind else ""
    early = f", ended early at {_clock(drill.score.watched_s)}" if drill.stopped else ""
    return f"Drill {drill.level}{blind}, seed {drill.seed}{early}"


def again(drill: Drill, take: str) -> str:
    """The command that runs the same drill again."""
    level = "" if drill.level == "real" else f" --level {drill.level}"
    return f"trackwarden drill {take} --seed {drill.seed}{level}" + (" --blind" * drill.blind)


def facts(score: Score) -> tuple[tuple[str, str], ...]:
    """The crew's figures, by name."""
    count = len(score.faults)
    return (
        ("faults", str(count)),
        ("seen", f"{count - score.missed} of {count}"),
        ("missed", str(score.missed)),
        ("median to seen", seconds(score.seen_s)),
        ("right cause", f"{score.right} of {count}"),
        ("false calls", str(score.false_calls)),
        ("no backup", f"{score.uncovered_s:.1f} s"),
        ("no backup, not seen", f"{score.unseen_s:.1f} s"),
    )


def own(score: Score) -> str:
    """What trackwarden itself found, and when, in one line."""
    count = len(score.faults)
    line = f"trackwarden itself found {score.found} of {count}, named {score.named} correctly"
    if score.found_s is not None:
        line += f", {seconds(score.found_s)} after the onset (median)"
    alarms = count_of(score.false_alarms, "false alarm") if score.false_alarms else "no false alarm"
    return f"{line}; {alarms}."


def rows(drill: Drill) -> tuple[tuple[str, ...], ...]:
    """A row a fault, in the order of `HEADS`."""
    known = {track.input: track for track in drill.tracks}
    return tuple(tuple(_row(result, known)) for result in drill.score.results)


def _row(result: Result, known: dict[int, Track]) -> Iterator[str]:
    truth = result.truth
    yield _clock(truth.onset_s)
    yield _where(truth.tracks, known)
    yield truth.cause.word
    yield seconds(result.seen_after_s)
    yield result.called.word if result.called else NONE
    yield _verdict(result)
    yield _said(result)


def _said(result: Result) -> str:
    """What trackwarden made of it: its early sign, its alarm."""
    said = []
    if result.sign_s is not None:
        said.append(f"early sign after {seconds(result.sign_after_s)}")
    if result.found is not None:
        said.append(f"{word(result.found)} after {seconds(result.found_after_s)}")
    return ", ".join(said) or ("nothing, correctly" if result.friend else "nothing")


def _clock(at_s: float) -> str:
    return f"{int(at_s) // 60}:{int(at_s) % 60:02d}"


def _verdict(result: Result) -> str:
    if result.right is not None:
        return "right" if result.right else "wrong"
    if result.friend:
        return "correctly ignored" if result.seen_s is None else NONE
    return "missed" if result.missed else "no cause"


def _where(tracks: Sequence[int], known: dict[int, Track]) -> str:
    if len(tracks) == 1 and tracks[0] in known:
        return f"{tracks[0]} {known[tracks[0]].label}"
    receivers = {known[n].receiver for n in tracks if n in known}
    whos = {known[n].who for n in tracks if n in known}
    named = whos if len(whos) == 1 else {f"receiver {r}" for r in receivers}
    return f"{numbers(tracks)} {named.pop() if len(named) == 1 else ''}".strip()


def seconds(value: float | None) -> str:
    """A time in seconds, or that there is none."""
    return NONE if value is None else f"{value:.1f} s"


def lines(drill: Drill, crew: bool = True) -> Iterator[str]:
    """The score for a terminal; `crew` False: only what trackwarden made of it."""
    yield f"{heading(drill)}: {drill.source}"
    columns = range(len(HEADS)) if crew else (0, 1, 2, 6)
    table = [HEADS, *rows(drill)]
    widths = [max(len(row[c]) for row in table) for c in range(len(HEADS))]
    for row in table:
        yield "  ".join(row[c].ljust(widths[c]) for c in columns).rstrip()
    if crew:
        yield ", ".join(f"{name}: {value}" for name, value in facts(drill.score)) + "."
    yield own(drill.score)


def blocks(drill: Drill, before: Sequence[Past], session: str) -> Iterator[Block]:
    """The page to print; `before` are the crew's earlier drills, oldest first."""
    yield Heading(heading(drill), 1)
    begun = time.strftime("%Y-%m-%d %H:%M UTC", time.gmtime(drill.utc_ms / 1000))
    yield Text(" · ".join(filter(None, (drill.title, drill.source, begun, session))), Tone.DIM)
    yield Facts(facts(drill.score))
    yield Text(own(drill.score))
    yield Heading("Each fault", 3)
    columns = tuple(Column(n, s) for n, s in zip(HEADS, _SHARES, strict=True))
    yield Table(columns, tuple(tuple(map(_cell, row)) for row in rows(drill)))
    yield Heading("Against your earlier drills", 3)
    yield Pictures(
        (picture(before, palette.INK, palette.DIM, palette.LINE, palette.COVER, palette.RED),)
    )


def _cell(text: str) -> Cell:
    bad = text in ("missed", "wrong")
    return Cell(text, bold=bad, tone=Tone.BAD if bad else Tone.PLAIN)

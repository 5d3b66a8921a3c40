"""What the window shows of takes held against a session, as plain data. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from engine.report.layout.blocks import Block
from engine.verify.result import Finding, TakeResult, Verification
from engine.verify.verify_page import TO_DO, blocks, heading, summary


@dataclass(frozen=True, slots=True)
class VerifyLine:
    """One finding in words: where, what, what to do; `wrong`: something is missing or differs."""

    wrong: bool
    when: str
    take: str
    text: str
    to_do: str


@dataclass(frozen=True, slots=True)
class VerifyTake:
    """One take on the session's time, s; `wrong` holds the inputs on which it differs."""

    name: str
    begin: str
    begin_s: float
    end_s: float
    wrong: frozenset[int]


@dataclass(frozen=True, slots=True)
class VerifySheet:
    """The one large word, what to do, and the session against its takes.

    rolling, missing : stretches of session time, s
    tracks : input and label of each
    sheet : the same as blocks, to be printed
    """

    word: str
    complete: bool
    words: str
    lines: tuple[VerifyLine, ...]
    takes: tuple[VerifyTake, ...]
    rolling: tuple[tuple[float, float], ...]
    missing: tuple[tuple[float, float], ...]
    tracks: tuple[tuple[int, str], ...]
    sheet: tuple[Block, ...]


def verify_sheet(result: Verification) -> VerifySheet:
    """What is wrong first, then what is worth knowing."""
    failed = tuple(
        VerifyLine(True, "", name_of(path), reason, "look at the card: was it pulled out?")
        for path, reason in result.failed
    )
    findings = sorted(result.all_findings, key=lambda finding: not finding.is_wrong)
    spans = [(f.from_s, f.until_s) for f in result.findings]
    return VerifySheet(
        word=heading(result),
        complete=result.complete,
        words=summary(result),
        lines=(*failed, *(_line(result, finding) for finding in findings)),
        takes=tuple(made for take in result.takes if (made := _take(result, take)) is not None),
        rolling=result.rolling,
        missing=tuple((a, b) for a, b in spans if a is not None and b is not None),
        tracks=result.tracks,
        sheet=tuple(blocks(result, one_sheet=True)),
    )


def name_of(path: str | None) -> str:
    """Of a take, without its folder."""
    return "" if path is None else path.replace("\\", "/").rstrip("/").rpartition("/")[2]


def _line(result: Verification, finding: Finding) -> VerifyLine:
    begin, end = result.label(finding.from_s), result.label(finding.until_s)
    when = f"{begin} to {end}" if begin and end else begin or ""
    to_do = TO_DO.get(finding.what, "")
    return VerifyLine(finding.is_wrong, when, name_of(finding.take), finding.text, to_do)


def _take(result: Verification, take: TakeResult) -> VerifyTake | None:
    if take.span_s is None:
        return None
    begin_s, end_s = take.span_s
    wrong = frozenset(f.track for f in take.findings if f.is_wrong and f.track is not None)
    begin = (result.label(begin_s) or "")[:8]
    return VerifyTake(name_of(take.path), begin, begin_s, end_s, wrong)

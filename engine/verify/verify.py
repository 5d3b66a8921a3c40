"""Holds takes against a session: where each lies, and whether it has what was heard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from engine.model.safe_text import harmless
from engine.sources.base import SourceError
from engine.sources.take_files import Take, path_of
from engine.verify.card import file_findings, is_gone, size_of, takes_of, word_of
from engine.verify.compare_take import verify_take
from engine.verify.result import Difference, Finding, TakeResult, Verification
from engine.verify.take_coverage import not_taken
from engine.verify.watched_session import Session

Progress = Callable[[str, float], None]
"""Told what is being done, and which share of all takes is done; may raise to stop."""


def verify(
    session: Session, paths: Sequence[Path], progress: Progress | None = None
) -> Verification:
    """All takes among those files and folders against the session.

    What can't be read is named in the result; the others go on.
    """
    takes, failed = takes_of(paths)
    results, unread = _each(session, takes, progress)
    failed += unread
    by_path = {str(path_of(take)): take for take in takes}
    fellows = [(result.scan.info, word_of(by_path[result.path])) for result in results]
    results = [
        replace(
            result,
            findings=(*file_findings(result.path, *form, fellows), *result.findings),
        )
        for result, form in zip(results, fellows, strict=True)
    ]
    results.sort(key=lambda result: (result.span_s or (float("inf"), 0.0))[0])
    made = Verification(
        session=session.name,
        title=session.record.title,
        takes=tuple(results),
        findings=_missing(session, results, all_read=not failed),
        failed=tuple(failed),
        coarse=session.trace.is_coarse,
        rolling=session.rolling,
        tracks=tuple((track.input, track.label) for track in session.tracks),
    )
    moments = {m for f in made.all_findings for m in (f.from_s, f.until_s) if m is not None}
    moments.update(m for take in results for m in take.span_s or ())
    return replace(made, labels=tuple((at_s, session.label(at_s)) for at_s in sorted(moments)))


def _each(
    session: Session, takes: Sequence[Take], progress: Progress | None
) -> tuple[list[TakeResult], list[tuple[str, str]]]:
    """Every take that can be read, and why the others can't; one line for a card that is gone."""
    sizes = [size_of(take) for take in takes]
    results: list[TakeResult] = []
    failed: list[tuple[str, str]] = []
    for number, take in enumerate(takes):
        path = path_of(take)
        before, whole = sum(sizes[:number]), sum(sizes)
        tell = _part(progress, path.name, before / whole, sizes[number] / whole)
        try:
            results.append(verify_take(session, take, tell))
        except (SourceError, OSError) as error:
            left = takes[number:]
            if all(map(is_gone, left)):
                failed.append((harmless(str(path)), _pulled(len(left) - 1)))
                break
            failed.append((harmless(str(path)), harmless(str(error).removeprefix(f"{path}: "))))
    return results, failed


def _pulled(others: int) -> str:
    more = f" {others} more {'take' if others == 1 else 'takes'} not read" if others else ""
    return f"gone while it was read: card pulled?{more}"


def _part(
    progress: Progress | None, name: str, start: float, length: float
) -> Callable[[float], None]:
    """Tells the share of one take as a part of the whole."""

    def tell(share: float) -> None:
        if progress is not None:
            progress(name, start + length * min(share, 1.0))

    tell(0.0)
    return tell


def _missing(
    session: Session, results: Sequence[TakeResult], *, all_read: bool
) -> tuple[Finding, ...]:
    spans = [result.span_s for result in results if result.span_s is not None]
    return tuple(
        Finding(
            Difference.NOT_TAKEN,
            f"{_length(end_s - begin_s)} of the session in no take{'' if all_read else ' read'}",
            from_s=begin_s,
            until_s=end_s,
        )
        for begin_s, end_s in not_taken(session.rolling, spans)
    )


def _length(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90.0 else f"{seconds / 60.0:.1f} minutes"

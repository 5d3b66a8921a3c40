"""`trackwarden verify`: takes against a session, as a list, as JSON, as a page."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from app.cli import terminal
from engine.model.messages import Severity
from engine.model.safe_text import harmless, json_text
from engine.report.formats.html_page import page
from engine.session.folders import find_session
from engine.session.schema import NotALogError
from engine.sources.base import SourceError
from engine.verify import manifest
from engine.verify.result import Finding, Verification
from engine.verify.verify import verify
from engine.verify.verify_page import blocks, heading
from engine.verify.watched_session import read_session

COMPLETE, INCOMPLETE, FAILED = 0, 1, 2
TOLD_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class VerifyOptions:
    """What was asked for besides the session and the takes."""

    json: bool = False
    html: Path | None = None
    pdf: Path | None = None
    against: Path | None = None
    manifest: Path | None = None


def verify_takes(session: str, takes: Sequence[str], options: VerifyOptions) -> int:
    """Hold the takes against the session; the exit status.

    Raises
    ------
    SourceError
        Where the session or a manifest can't be read.
    """
    try:
        heard = read_session(find_session(session))
    except NotALogError as error:
        raise SourceError(str(error)) from error
    paths = [Path(take) for take in takes]
    result = verify(heard, paths, _Progress())
    copies = _copies(paths, options)
    result = replace(result, findings=(*result.findings, *copies))
    if options.json:
        document = result.as_json()
        document["copies"] = [finding.text for finding in copies]
        print(json_text(document, indent=2))
    else:
        print(_as_text(result))
    if options.html is not None:
        options.html.write_text(page(heading(result), blocks(result)), encoding="utf-8")
        print(f"{harmless(str(options.html))}: written", file=sys.stderr)
    if options.pdf is not None:
        from app.report.pdf import write_blocks  # brings Qt along: only where it is asked for

        write_blocks(list(blocks(result, one_sheet=True)), heading(result), options.pdf)
        print(f"{harmless(str(options.pdf))}: written", file=sys.stderr)
    if result.failed and not result.takes:
        return FAILED
    return COMPLETE if result.complete else INCOMPLETE


class _Progress:
    """A line on standard error for each take, and every 10 s with the time that is left."""

    def __init__(self) -> None:
        self._began = self._told_at = time.monotonic()
        self._name = ""

    def __call__(self, name: str, share: float) -> None:
        now = time.monotonic()
        if name == self._name and now - self._told_at < TOLD_S:
            return
        self._name, self._told_at = name, now
        left_s = (now - self._began) * (1.0 - share) / share if share > 0.0 else 0.0
        left = f", {left_s:.0f} s left" if left_s >= 1.0 else ""
        print(f"{share:4.0%}  {harmless(name)}{left}", file=sys.stderr)


def _copies(paths: Sequence[Path], options: VerifyOptions) -> list[Finding]:
    """Checksums of the first folder: written down, or held against another copy or manifest."""
    if options.against is None and options.manifest is None:
        return []
    folder = next((path for path in paths if path.is_dir()), None)
    if folder is None:
        raise SourceError("checksums are of a folder: give the card's folder as TAKE")
    try:
        sums = manifest.checksums(folder)
        if options.manifest is not None:
            options.manifest.write_text(manifest.written(sums), encoding="utf-8")
        if options.against is None:
            return []
        if options.against.is_dir():
            theirs = manifest.checksums(options.against)
        else:
            theirs = manifest.read(options.against.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SourceError(f"checksums: {error}") from error
    return manifest.differences(sums, theirs, str(options.against))


def _as_text(result: Verification) -> str:
    lines = [heading(result).upper()]
    for path, reason in result.failed:
        lines.append(f"  could not be read: {path}: {reason}")
    for finding in result.all_findings:
        when = result.label(finding.from_s)
        until = result.label(finding.until_s)
        span = f"{when} to {until}: " if when and until else f"from {when}: " if when else ""
        take = f"{Path(finding.take).name}: " if finding.take else ""
        wrong = Severity.RED if finding.is_wrong else None
        mark = terminal.paint("!" if wrong else " ", wrong, sys.stdout)
        lines.append(f"{mark} {harmless(take)}{span}{harmless(finding.text)}")
    return "\n".join(lines)

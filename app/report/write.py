"""Writes reports: of scanned takes, and of sessions from the log."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Final

from engine.model.safe_text import json_text
from engine.pipeline.scan_document import Failure
from engine.pipeline.scan_result import ScanResult
from engine.report.content.crew_figures import failure_counts
from engine.report.content.from_scan import section_of_scan, with_sound
from engine.report.content.from_session import read_session, take_of, with_levels, with_take
from engine.report.content.report_data import Report, Section
from engine.report.content.sections import report
from engine.report.formats.crew_table import crew_spreadsheet
from engine.report.formats.csv_table import spreadsheet
from engine.report.formats.html_page import html
from engine.report.formats.json_document import document
from engine.session.folders import session_folders
from engine.session.schema import NotALogError
from engine.sources.base import SourceError
from engine.sources.take import open_take

Progress = Callable[[str, float], None]
"""Told what is being done and which share of it is; may raise `Cancelled` to stop."""

NAME: Final = "report"

MOST_EARLIER: Final = 10
"""Sessions before this one in which failures of the same kit are counted. Ours."""


class Cancelled(Exception):  # noqa: N818 - somebody's wish, not an error
    """The report is no longer wanted; raise it from a progress callback."""


@dataclass(frozen=True, slots=True)
class Files:
    """Where to write each form of a report; None: not wanted."""

    html: Path | None = None
    pdf: Path | None = None
    csv: Path | None = None
    json: Path | None = None
    crew: Path | None = None

    @classmethod
    def all_in(cls, folder: Path) -> Files:
        """All but the crew's table, in one folder."""
        return cls(*(folder / f"{NAME}.{kind}" for kind in ("html", "pdf", "csv", "json")))

    @property
    def wanted(self) -> tuple[Path, ...]:
        """Those that are to be written."""
        return tuple(filter(None, (self.html, self.pdf, self.csv, self.json, self.crew)))


def made_by() -> str:
    """The report's last line."""
    try:
        number = " " + version("trackwarden")
    except PackageNotFoundError:  # run from a checkout
        number = ""
    return f"Made by trackwarden{number}. It hears what its own input hears; listen before you cut."


def scanned_section(result: ScanResult, take: str, progress: Progress | None = None) -> Section:
    """The section of a scanned take, with the sound around each onset read from the take.

    Raises
    ------
    SourceError
        Where the take can't be read any more.
    """

    def tell(done: int, whole: int) -> None:
        if progress is not None:
            progress("reading the sound around each onset", done / max(whole, 1))

    return with_sound(
        section_of_scan(result), lambda at_s: open_take(take, from_s=at_s, read_ahead=0), tell
    )


def session_section(folder: Path, progress: Progress | None = None) -> Section:
    """The section of a session, with the sound of its take where one was played and is there.

    Raises
    ------
    SourceError
        Where the session's log is torn, foreign or can't be read.
    """

    def tell(done: int, whole: int) -> None:
        if progress is not None:
            progress("reading the sound around each onset", done / max(whole, 1))

    try:
        logged = read_session(folder)
    except NotALogError as error:
        raise SourceError(str(error)) from error
    logged = replace(logged, section=replace(logged.section, earlier=_earlier(folder)))
    take = take_of(logged)
    if take is None:
        return with_levels(logged)
    try:
        return with_take(logged, lambda at_s: open_take(take, from_s=at_s, read_ahead=0), tell)
    except SourceError as error:
        section = with_levels(logged)
        return replace(section, honest=(*section.honest, str(error)))


def _earlier(folder: Path) -> tuple[Mapping[tuple[str, str], int], ...]:
    """How often each pack and receiver failed in the sessions before, newest first."""
    counts = []
    before = [one for one in session_folders() if one.parent == folder.parent and one < folder]
    for one in sorted(before, reverse=True)[:MOST_EARLIER]:
        try:
            counts.append(failure_counts(read_session(one).section))
        except NotALogError:
            continue  # a torn log says nothing of the kit
    return tuple(counts)


def write_report(
    sections: Sequence[Section],
    files: Files,
    *,
    paper: str = "a4",
    bom: bool = True,
    progress: Progress | None = None,
    failures: Sequence[Failure] = (),
) -> Report:
    """Write each form that is wanted; a file is there whole or not at all.

    Parameters
    ----------
    sections : sequence of Section
        A section a take.
    paper : str
        a4 or letter, for the PDF.
    failures : sequence of Failure
        Takes that could not be read: they are named first.
    bom : bool
        Whether the CSV begins with a byte order mark.
    progress : callable, optional
        See `Progress`; `Cancelled` from it leaves the file at hand as it was.

    Raises
    ------
    OSError
        Where a file can't be written.
    """
    whole = report(sections, made_by(), failures)
    wanted = (
        (files.html, lambda path: _write(path, html(whole))),
        (files.csv, lambda path: _write(path, spreadsheet(whole, bom=bom))),
        (files.json, lambda path: _write(path, _json(whole))),
        (files.crew, lambda path: _write(path, crew_spreadsheet(whole, bom=bom))),
        (files.pdf, lambda path: _write_pdf(whole, path, paper, progress)),
    )
    for path, write in wanted:
        if path is None:
            continue
        if progress is not None:
            progress(f"writing {path.name}", 0.0)
        _replace(path, write)
    return whole


def _replace(path: Path, write: Callable[[Path], None]) -> None:
    """Write beside the file, then put it in its place."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = _fresh(path, os.getpid())
    try:
        write(fresh)
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)


def _fresh(path: Path, pid: int) -> Path:
    """What that process calls the file until it is whole."""
    return path.with_name(f".{path.name}.{pid}")


def sweep(files: Files, pid: int) -> None:
    """Remove what a process that was killed left half written."""
    for path in files.wanted:
        _fresh(path, pid).unlink(missing_ok=True)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="")


def _json(whole: Report) -> str:
    return json_text(document(whole), indent=1, allow_nan=False) + "\n"


def _write_pdf(whole: Report, path: Path, paper: str, progress: Progress | None) -> None:
    from app.report.pdf import write_pdf  # only here: Qt takes a while to load

    def tell(done: int, whole: int) -> None:
        if progress is not None:
            progress("setting the PDF's pages", done / whole)

    write_pdf(whole, path, paper, tell)

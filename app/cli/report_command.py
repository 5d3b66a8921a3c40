"""The report of a session, written from the command line."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from app.report.write import Files, session_section, write_report
from engine.model.safe_text import harmless
from engine.session.folders import find_session


def write_session_report(arguments: argparse.Namespace) -> None:
    """Write every form that was asked for, and say where."""
    folder = find_session(arguments.session)
    files = Files(arguments.html, arguments.pdf, arguments.csv, arguments.json, arguments.crew)
    if files == Files() and arguments.markers is None:
        files = Files(html=Path(f"{folder.name}.html"))
    section = session_section(folder)
    write_report([section], files, paper=arguments.paper, bom=not arguments.no_bom)
    if arguments.markers is not None:
        from app.report.marker_files import write_markers

        for path in write_markers([section], arguments.markers):
            print(f"{harmless(str(path))}: written", file=sys.stderr)
    for path in files.wanted:
        print(f"{harmless(str(path))}: written", file=sys.stderr)

"""The PDF form, read back by pypdf, and by poppler's tools where they are installed."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

from app.report.pdf import PAPERS, write_pdf
from engine.report.content.report_data import Report, Section
from engine.report.content.sections import report
from tests.support.checkout import ROOT
from tests.support.sample_report import PLAN, excerpt, incident, section
from tests.support.sample_session import crew_plan

POINTS = {"a4": (595.0, 842.0), "letter": (612.0, 792.0)}
"""ISO 216: 210 × 297 mm; ANSI/ASME Y14.1: 8.5 × 11 in; in points of 1/72 in."""


def made(count: int = 3) -> Report:
    """A report with so many incidents, each with a picture."""
    faults = [incident(n, 1 + n % 3, onset_s=5.0 * n + 10) for n in range(count)]
    plain = section(faults)
    entries = tuple(
        type(e)(*(getattr(e, name) for name in e.__slots__[:-1]), excerpt(e.start_s - 5))
        for e in plain.entries
    )
    return report([section(faults, entries=entries)], "made")


def tags(path: Path) -> set[str]:
    """The types of all elements of the file's structure tree."""
    found: set[str] = set()
    left = [PdfReader(path).trailer["/Root"]["/StructTreeRoot"]]
    while left:
        element = left.pop()
        found.add(str(element.get("/S", "")))
        children = element.get("/K", [])
        for child in children if isinstance(children, list) else [children]:
            below = child.get_object()
            if isinstance(below, DictionaryObject):
                left.append(below)
    return found


@pytest.mark.parametrize("paper", PAPERS)
def test_it_has_pages_of_that_paper(tmp_path: Path, paper: str) -> None:
    """Page one is upright, the wide tables lie on their side, all on that paper."""
    path = tmp_path / "report.pdf"
    write_pdf(made(), path, paper)
    sizes = [(float(p.mediabox.width), float(p.mediabox.height)) for p in PdfReader(path).pages]
    width, height = POINTS[paper]
    assert sizes[0] == pytest.approx((width, height), abs=1.0)
    assert sizes[1:]
    assert all(size == pytest.approx((height, width), abs=1.0) for size in sizes[1:])


def test_assistive_programs_find_their_way(tmp_path: Path) -> None:
    """Tags, language, title, author and an outline, as ISO 14289-1 (PDF/UA-1) asks for them."""
    path = tmp_path / "report.pdf"
    plan = replace(PLAN, mixer="Location sound mixer")
    takes = [section([incident()], plan, name=name) for name in ("one.wav", "two.wav")]
    write_pdf(report(takes, "made"), path)
    reader = PdfReader(path)
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid:part" in root["/Metadata"].get_object().get_data()
    assert reader.metadata is not None
    assert reader.metadata.title == "Raising the bell"
    assert reader.metadata.author == "Location sound mixer"
    assert {"/H1", "/H2", "/H3", "/P", "/Table", "/TH", "/TD", "/Figure", "/Link"} <= tags(path)
    outline = str(reader.outline)
    assert all(name in outline for name in ("All takes", "one.wav", "two.wav", "All incidents"))


def test_a_letter_that_no_font_has_is_no_reason_to_fail(tmp_path: Path) -> None:
    """Then the file is tagged all the same, but does not claim what does not hold."""
    path = tmp_path / "report.pdf"
    write_pdf(report([section(name="\U000f1234.wav")], "made"), path)
    root = PdfReader(path).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert b"pdfuaid:part" not in root["/Metadata"].get_object().get_data()


def test_page_one_is_enough(tmp_path: Path) -> None:
    """The first page names track, timecode and pack; every page is numbered (pdftotext)."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler) is not installed")
    path = tmp_path / "report.pdf"
    write_pdf(made(1), path)
    count = len(PdfReader(path).pages)
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    texts = done.stdout.split("\f")
    for part in ("Raising the bell", "21:00:10:00", "2 Foreman safety (pack 2)", "Timeline"):
        assert part in texts[0]
    assert all(f"page {n} of {count}" in texts[n - 1] for n in range(1, count + 1))


@pytest.mark.parametrize("paper", POINTS)
@pytest.mark.parametrize("crew", [False, True], ids=["scan", "session"])
@pytest.mark.parametrize("takes", [1, 2])
def test_times_are_never_broken(tmp_path: Path, takes: int, crew: bool, paper: str) -> None:
    """The longest time in minutes and a timecode stand in one line of every table (pdftotext)."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler) is not installed")
    long = [incident(1, 1, onset_s=10.0, end_s=10.0 + 58 * 60 + 58)]
    sections = [section(long, duration_s=3_600.0, crew=crew) for _ in range(takes)]
    path = tmp_path / "report.pdf"
    write_pdf(report(sections, "made"), path, paper)
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    # In the list of page one, of each take, and in each take's own list of all incidents.
    lists = 2 if takes == 1 else 1 + 2 * takes
    for words in ("58 min 58 s", "21:00:10:00", "21:59:08:00"):
        assert done.stdout.count(words) >= lists


@pytest.mark.parametrize(("tracks", "on_page_one"), [(2, True), (16, True), (64, False)])
@pytest.mark.parametrize("paper", POINTS)
def test_page_one_is_full_and_no_heading_stands_alone(
    tmp_path: Path, tracks: int, on_page_one: bool, paper: str
) -> None:
    """The timeline is on page one, or, too high for that, whole on page two under its heading.

    Page one then lists so many more incidents (pdftotext).
    """
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler) is not installed")
    plan = crew_plan(tracks)
    faults = [incident(n, 1 + n % tracks, onset_s=5.0 * n, end_s=5.0 * n + 1) for n in range(100)]
    path = tmp_path / "report.pdf"
    write_pdf(report([section(faults, plan)], "made"), path, paper)
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    first, second, *_ = done.stdout.split("\f")
    for words in ("Timeline", "level (sample peak)"):
        assert (words in first, words in second) == (on_page_one, not on_page_one)
    assert first.count("muted") >= (6 if on_page_one else 20)


def test_long_tables_go_on_with_their_head(tmp_path: Path) -> None:
    """A hundred incidents need several pages, and each repeats the table's head."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler) is not installed")
    path = tmp_path / "report.pdf"
    write_pdf(report([_many()], "made"), path)
    done = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    )
    assert sum("Use instead" in page for page in done.stdout.split("\f")) >= 3


def _many() -> Section:
    return section([incident(n, 1, onset_s=5.0 * n, end_s=5.0 * n + 1) for n in range(100)])


def test_a_name_longer_than_a_page_is_wide_is_broken(tmp_path: Path) -> None:
    """The longest name a plan takes, without a blank in it, does not break the page."""
    nasty = section([incident(detail="x" * 2000)], name="y" * 200)
    path = tmp_path / "report.pdf"
    write_pdf(report([nasty], "made"), path)
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler) is not installed")
    done = subprocess.run(
        ["pdftotext", "-bbox", str(path), "-"], capture_output=True, text=True, check=True
    )
    pages = re.findall(r'<page width="([\d.]+)".*?</page>', done.stdout, re.DOTALL)
    words = re.split(r"<page ", done.stdout)[1:]
    assert len(pages) >= 2
    for width, on_page in zip(pages, words, strict=True):
        assert max(map(float, re.findall(r'xMax="([\d.]+)"', on_page))) <= float(width)
    assert done.stdout.count("y") >= 200


def test_progress_may_stop_it(tmp_path: Path) -> None:
    """What the progress callback raises comes out at any step, and no file is left then."""
    path = tmp_path / "report.pdf"
    steps: list[tuple[int, int]] = []
    write_pdf(made(), path, progress=lambda done, whole: steps.append((done, whole)))
    assert steps == sorted(steps)
    path.unlink()
    for step in steps[:-1]:

        def stop(done: int, whole: int, at: int = step[0]) -> None:
            if done == at:
                raise InterruptedError

        with pytest.raises(InterruptedError):
            write_pdf(made(), path, progress=stop)
        assert not path.exists()


def test_a_folder_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    """OSError in one line, no empty file."""
    with pytest.raises(OSError, match="can't be written"):
        write_pdf(made(), tmp_path / "none" / "report.pdf")


NO_DISPLAY = """
import sys
from dataclasses import replace
from pathlib import Path
from app.report.pdf import write_pdf
from engine.report.content.sections import report
from tests.support.sample_report import section
write_pdf(report([section()], "made"), Path(sys.argv[1]))
assert "PySide6" not in sys.modules
"""


def test_it_needs_no_display(tmp_path: Path) -> None:
    """A process without any display, and without Qt, writes it all the same."""
    path = tmp_path / "report.pdf"
    done = subprocess.run(
        [sys.executable, "-c", NO_DISPLAY, str(path)],
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin", "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert len(PdfReader(path).pages) >= 1

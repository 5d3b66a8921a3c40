"""The HTML report in a real browser: narrow, printed, and read by assistive programs."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from axe_core_python.selenium import Axe
from pypdf import PdfReader
from selenium import webdriver

from app.report.write import made_by
from engine.model.messages import Fault, Severity
from engine.report.content.report_data import Break, Done, Note, Report
from engine.report.content.sections import SEEN, report
from engine.report.formats.html_page import html
from tests.app.style.test_theme import contrast
from tests.support.browser import keep, phone, require_browser
from tests.support.checkout import ROOT
from tests.support.sample_report import excerpt, incident, section
from tests.support.sample_session import crew_plan

pytestmark = [pytest.mark.end_to_end, pytest.mark.at_any_speed]

NARROW: Final = (400, 800)
PAPERS: Final = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
"""ISO 216 and ANSI/ASME Y14.1, in."""

BROKEN_NUMBERS: Final = """
const number = /(?<![\\w.-])[-−+]?\\d[\\d:;.,]*\\d|\\d/g, broken = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
for (let node = walk.nextNode(); node; node = walk.nextNode()) {
  if (node.parentElement.closest('svg')) continue;
  for (const match of node.data.matchAll(number)) {
    const range = document.createRange();
    range.setStart(node, match.index);
    range.setEnd(node, match.index + match[0].length);
    const lines = new Set([...range.getClientRects()].map(r => Math.round(r.top)));
    if (lines.size > 1) broken.push(match[0]);
  }
}
return broken;
"""


WORDS_IN_PICTURES: Final = """
return [...document.querySelectorAll('svg text')].map(text => {
  text.scrollIntoView({block: 'center', inline: 'center'});
  const box = text.getBoundingClientRect();
  const stack = document.elementsFromPoint(box.x + box.width / 2, box.y + box.height / 2);
  const ground = stack.slice(stack.indexOf(text) + 1).find(element =>
    ['rect', 'path'].includes(element.tagName) && element.getAttribute('fill') !== 'none');
  return [text.getAttribute('fill'), ground ? ground.getAttribute('fill') : '#ffffff',
          text.textContent];
});
"""


def crowded(sections: int, faults: int = 30) -> Report:
    """Takes with everything that a report may have, names of every length, long times."""
    plan = crew_plan(16)
    found = [
        incident(n, 1 + n % 16, onset_s=30.0 * n, end_s=30.0 * n + 75.5, uncovered=n % 5 == 0)
        for n in range(faults)
    ]
    found.append(incident(31, 3, fault=Fault.HUM, severity=Severity.AMBER, red_s=None))
    whole = []
    for number in range(sections):
        made = section(
            found,
            plan,
            {1: (Done(110.0, SEEN, "assistant"), Done(112.0, "note “new battery”"))},
            7_200.0,
            name=f"T{number:02}_scaffold_and_belfry_from_the_square.wav",
            fields={"scene": f"{number}A", "take": "1", "note": "wind"},
            breaks=(Break(60.0, 61.5, "1.50 s of audio lost: overflow"),),
            marks=(Note(5.0, "slate", "assistant"),),
            batteries=(Note(6.0, "fresh battery, lasts 3h30", "", 1),),
            crew=sections == 1,
        )
        entries = tuple(
            type(e)(*(getattr(e, name) for name in e.__slots__[:-1]), excerpt(e.start_s - 5))
            for e in made.entries
        )
        whole.append(section(found, plan, {}, 7_200.0, **_but(made, entries)))
    return report(whole, made_by())


def _but(made: Any, entries: Any) -> dict[str, Any]:
    names = ("name", "fields", "breaks", "marks", "batteries", "crew")
    return {**{name: getattr(made, name) for name in names}, "entries": entries}


@pytest.fixture(scope="module", params=[1, 3], ids=["session", "day"])
def page(request: pytest.FixtureRequest, tmp_path_factory: Any) -> Iterator[webdriver.Chrome]:
    """The report in a narrow browser."""
    require_browser()
    path: Path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(html(crowded(request.param)), "utf-8")
    with phone(NARROW, "light") as driver:
        driver.get(path.as_uri())
        yield driver


@pytest.fixture(scope="module")
def reading(tmp_path_factory: Any) -> Iterator[webdriver.Chrome]:
    """A short report: axe-core takes a second for each picture."""
    require_browser()
    path: Path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(html(crowded(1, faults=4)), "utf-8")
    with phone(NARROW, "light") as driver:
        driver.get(path.as_uri())
        yield driver


def test_assistive_programs_find_nothing_amiss(reading: webdriver.Chrome) -> None:
    """No finding of axe-core, best practices included.

    It leaves open the contrast of words in pictures alone: those are worked out from the shape
    that the browser has under each of them. At least 4.5:1 (WCAG 2.2, SC 1.4.3).
    """
    result = Axe().run(reading)
    assert [(one["id"], one["nodes"][0]["html"]) for one in result["violations"]] == []
    for one in result["incomplete"]:
        assert one["id"] == "color-contrast"
        others = [n["html"] for n in one["nodes"] if not n["html"].startswith("<text ")]
        assert others == []
    pairs = reading.execute_script(WORDS_IN_PICTURES)
    assert len(pairs) > 20
    assert [pair for pair in pairs if contrast(pair[0], pair[1]) < 4.5] == []


def test_numbers_stay_whole_at_400_pixels(page: webdriver.Chrome) -> None:
    """No number runs over two lines, nothing sticks out of the page, wide tables scroll."""
    assert page.execute_script(BROKEN_NUMBERS) == []
    assert page.execute_script("return document.documentElement.scrollWidth") <= NARROW[0]
    tables = "[...document.querySelectorAll('.scroll')]"
    assert page.execute_script(f"return {tables}.some(t => t.scrollWidth > t.clientWidth)")
    keep(page, ROOT / ".artefacts" / "report-narrow.png")


def test_every_link_leads_somewhere(page: webdriver.Chrome) -> None:
    """Contents and rows lead to places that are there, each with a name of its own."""
    missing = (
        "return [...document.querySelectorAll('a')].map(a => a.getAttribute('href'))"
        ".filter(h => !document.getElementById(h.slice(1)))"
    )
    assert page.execute_script(missing) == []
    ids = "return [...document.querySelectorAll('[id]')].map(e => e.id)"
    names = page.execute_script(ids)
    assert len(names) == len(set(names))
    landmarks = "return ['nav', 'main'].map(n => document.querySelectorAll(n).length)"
    assert page.execute_script(landmarks) == [1, 1]


@pytest.mark.parametrize("paper", PAPERS)
def test_it_prints(page: webdriver.Chrome, paper: str) -> None:
    """Upright pages on that paper, nothing shrunk to fit; a session's wide tables on their side."""
    width, height = PAPERS[paper]
    made = page.execute_cdp_cmd(
        "Page.printToPDF",
        {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": False},
    )
    pages = PdfReader(io.BytesIO(base64.b64decode(made["data"]))).pages
    sizes = {(round(float(p.mediabox.width)), round(float(p.mediabox.height))) for p in pages}
    upright = (round(72 * width), round(72 * height))
    allowed = {
        (w + dx, h + dy)
        for w, h in (upright, upright[::-1])
        for dx in (-1, 0, 1)
        for dy in (-1, 0, 1)
    }
    assert sizes <= allowed
    first = pages[0].extract_text()
    assert "Unusable, and what to use instead" in first
    assert "21:00:30:00" in first

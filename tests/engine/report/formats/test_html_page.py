"""The HTML form: it stands alone, and texts from files stay texts."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

from hypothesis import given

from engine.model.tracks import Plan, Track
from engine.report.content.report_data import Note, Report
from engine.report.content.sections import report
from engine.report.formats.html_page import html
from tests.support.sample_report import DURATION_S, PLAN, incident, nasty_texts, section
from tests.support.strategies import untimed


class Reader(HTMLParser):
    """Collects tags with their attributes, and each text, as a browser would see them."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """One more tag."""
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self._open.append(tag)

    def handle_data(self, data: str) -> None:
        """One more text; the style sheet is none."""
        if self._open[-1:] != ["style"]:
            self.texts.append(data)

    def handle_endtag(self, tag: str) -> None:
        """The tag is over."""
        if tag in self._open:
            del self._open[len(self._open) - 1 - self._open[::-1].index(tag) :]


def with_text(text: str) -> Report:
    """A report that has the text wherever a file may bring one."""
    track = Track(1, text, who=text, pack=text, placement=text)
    plan = Plan((track, *PLAN.tracks[1:]), text, production=text, location=text)
    made = section(
        [incident(detail=text)],
        plan,
        name=text,
        fields={"scene": text, "note": text},
        honest=(text,),
        marks=(Note(5.0, text, text),),
    )
    return report([made], "made")


@untimed
@given(nasty_texts)
def test_texts_never_become_markup(text: str) -> None:
    """Whatever a name holds, tags and attributes are those of the same report with a plain name."""
    plain, nasty = Reader(html(with_text("name"))), Reader(html(with_text(text)))
    assert set(nasty.tags) == set(plain.tags)
    assert nasty.attributes == plain.attributes
    if text.strip():
        assert any(text in one for one in nasty.texts)


def test_it_stands_alone() -> None:
    """No script, nothing to fetch: links lead within the page, the only address is SVG's."""
    text = html(report([section([incident()])], "made"))
    reader = Reader(text)
    assert not {"script", "link", "img", "iframe", "object"} & set(reader.tags)
    assert "src" not in reader.attributes
    assert set(re.findall(r'href="(.)', text)) == {"#"}
    assert set(re.findall(r'href="#([\w-]+)"', text)) <= set(re.findall(r' id="([\w-]+)"', text))
    assert set(re.findall(r"https?://[^\"'\s<]+", text)) == {"http://www.w3.org/2000/svg"}
    assert "url(" not in text


def test_what_is_wrong_comes_first() -> None:
    """What the watch missed stands before what it found, and that before the details."""
    made = section([incident()], honest=("3 s were lost",))
    text = html(report([made], "made")).split("<main>")[1]
    order = [text.index(part) for part in ("3 s were lost", "use instead", "All incidents")]
    assert order == sorted(order)


def test_parts_can_be_found_and_numbers_stay_whole() -> None:
    """Contents and one main part as landmarks; labels and lengths never break over two lines."""
    text = html(report([section([incident()])], "made"))
    assert text.count("<main>") == text.count("<nav ") == 1
    assert '<td class="whole">21:01:40:00</td>' in text
    assert '<td class="right whole">30.0 s</td>' in text
    assert '<span class="whole">21:01:40:00</span> <span class="whole">21:02:10:00</span>' in text


def test_every_time_is_told_by_timecode() -> None:
    """Onset and end appear as the labels of those moments, 25 frames a second from 21:00."""
    text = html(report([section([incident(onset_s=100.48, end_s=130.0)])], "made"))
    assert "21:01:40:12" in text
    assert "21:02:10:00" in text


def test_a_section_a_take() -> None:
    """Several takes give one report with a line and a section for each."""
    first = section([incident()], name="one.wav")
    second = replace(section(name="two.wav"), duration_s=DURATION_S)
    text = html(report([first, second], "made"))
    assert text.count("<h2") == 3
    assert text.count("21:01:40:00") >= 3
    assert "Nothing in this take is unusable." in text

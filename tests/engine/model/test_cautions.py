"""The cautions: what each has to say, and where it stands."""

from __future__ import annotations

from engine.model import cautions
from tests.support.checkout import ROOT
from tests.support.readme import README


def test_nobody_is_sent_in_for_a_pack() -> None:
    """The first one names every place that nobody goes into for a pack."""
    for place in ("stunt", "rescue", "traffic", "water", "crowd", "under a load", "onto a height"):
        assert place in cautions.DO_NOT_GO_IN


def test_all_are_in_the_readme() -> None:
    """README.md has the same cautions, word for word."""
    text = " ".join(README.read_text("utf-8").replace("**", "").split())
    assert [words for words in cautions.ALL if words not in text] == []


def test_the_assistants_page_has_the_first_one() -> None:
    """Whoever is sent on the way by a phone reads there that nobody goes in for a pack."""
    page = (ROOT / "app/page/static/index.html").read_text("utf-8")
    assert cautions.DO_NOT_GO_IN in page

"""What README.md tells people to type."""

from __future__ import annotations

import re

from tests.support.checkout import ROOT

README = ROOT / "README.md"
_FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_INLINE = re.compile(r"`((?:trackwarden|python3?|pip|pipx|uvx?)\s[^`]+)`")


def fenced_commands(text: str) -> list[str]:
    """Each command of the fenced blocks without a language, in order, without its remark."""
    blocks = [body for language, body in _FENCED.findall(text) if language in ("", "sh", "bash")]
    lines = [line.split("  #")[0].strip() for body in blocks for line in body.splitlines()]
    return [line for line in lines if line]


def inline_commands(text: str) -> list[str]:
    """Each command that stands between words; line breaks in it are spaces."""
    return [" ".join(found.split()) for found in _INLINE.findall(_FENCED.sub("", text))]

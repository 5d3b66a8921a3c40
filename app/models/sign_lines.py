"""Early signs in words: what changes on which track, how far, since when, what to do. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.style import wording
from engine.model.early_signs import SIGN_WORDS, EarlySign
from engine.model.number_text import number
from engine.model.tracks import Plan


@dataclass(frozen=True, slots=True)
class SignLine:
    """One sign as the list shows it.

    title : the tracks, or the receiver that they share
    words : what changes, by how much, since when
    advice : what to look at in the next pause
    curve : figures of the last 20 minutes, oldest first; None where unknown
    normal : the track's own normal, in the same unit
    """

    title: str
    words: str
    advice: str
    curve: tuple[float | None, ...]
    normal: float


def sign_lines(signs: Sequence[EarlySign], plan: Plan, now_s: float) -> tuple[SignLine, ...]:
    """A line for each sign, in the order given."""
    return tuple(_line(sign, plan, now_s) for sign in signs)


def _line(sign: EarlySign, plan: Plan, now_s: float) -> SignLine:
    words = SIGN_WORDS[sign.kind]
    names = {t.input: t.label for t in plan.tracks}
    title = f"Receiver {sign.receiver}: {wording.numbers(sign.tracks)}"
    if not sign.receiver or len(sign.tracks) == 1:
        title = f"{sign.tracks[0]} {names.get(sign.tracks[0], '')}".strip()
    change = number(sign.change, words.unit, digits=1 if abs(sign.change) < 10 else 0, signed=True)
    since = wording.hours(now_s - sign.since_s)
    what = wording.sentence(f"{words.what}, {change} in {since}")
    advice = wording.sentence(f"next pause: {words.advice}")
    return SignLine(title, what, advice, sign.curve, sign.normal)

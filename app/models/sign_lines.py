"""Early signs in words: what changes on which track, how far, since when, what to do. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.style import wording
from engine.model.early_signs import SIGN_WORDS, EarlySign, SignKind
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
    names = {t.input: t.label for t in plan.tracks}
    title = f"Receiver {sign.receiver}: {wording.numbers(sign.tracks)}"
    if not sign.receiver or len(sign.tracks) == 1:
        title = f"{sign.tracks[0]} {names.get(sign.tracks[0], '')}".strip()
    advice = wording.sentence(f"next pause: {SIGN_WORDS[sign.kind].advice}")
    return SignLine(title, wording.sentence(_what(sign, now_s)), advice, sign.curve, sign.normal)


def _what(sign: EarlySign, now_s: float) -> str:
    """What changes, by how much, since when; of a battery how long it lasts."""
    words = SIGN_WORDS[sign.kind]
    now, normal = (wording.hours(60.0 * minutes) for minutes in (sign.now, sign.normal))
    if sign.kind is SignKind.BATTERY:
        early = wording.hours(-60.0 * sign.change)
        return f"battery ends in {now}, {early} before the planned end"
    if sign.kind is SignKind.BATTERY_QUICK:
        return f"its last battery lasted {now}, others {normal}"
    change = number(sign.change, words.unit, digits=1 if abs(sign.change) < 10 else 0, signed=True)
    return f"{words.what}, {change} in {wording.hours(now_s - sign.since_s)}"

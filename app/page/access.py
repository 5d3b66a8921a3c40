"""Who may look: a code that is guessed by nobody, phones that gave it, wrong codes slowed down.

Pure but for the random codes; the clock is passed in.
"""

from __future__ import annotations

import hmac
import secrets
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

CODE_BYTES: Final = 16
"""128 bits. NIST SP 800-63B asks at least 64 of a session secret."""
MOST_PHONES: Final = 32
FREE_TRIES: Final = 5
FORGIVEN_S: Final = 60.0
SLOWEST_S: Final = 30.0
MOST_ADDRESSES: Final = 1000
ACTS: Final = 10
ACTS_S: Final = 10.0
"""A phone may press so many buttons in so many seconds; ours."""


@dataclass(slots=True)
class Phone:
    """One browser that gave the code."""

    address: str
    since: float
    name: str = ""
    streams: int = 0
    acts: deque[float] = field(default_factory=lambda: deque(maxlen=ACTS))


@dataclass(slots=True)
class _Tries:
    wrong: int
    last: float


class Access:
    """The code of one watch, and who gave it."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._phones: dict[str, Phone] = {}
        self._tries: dict[str, _Tries] = {}
        self.code = ""
        self.renew()

    def renew(self) -> None:
        """A new code; every phone is out."""
        self.code = secrets.token_urlsafe(CODE_BYTES)
        self._phones.clear()

    @property
    def phones(self) -> tuple[Phone, ...]:
        """All that gave the code."""
        return tuple(self._phones.values())

    def wait_s(self, address: str) -> float:
        """How long that address has to wait before it may try a code again."""
        tries = self._tries.get(address)
        if tries is None:
            return 0.0
        waited = self._clock() - tries.last
        if waited > FORGIVEN_S:
            del self._tries[address]
            return 0.0
        over = tries.wrong - FREE_TRIES
        return 0.0 if over < 0 else max(0.0, min(2.0**over, SLOWEST_S) - waited)

    def enter(self, code: str, address: str) -> str | None:
        """A token for the phone's cookie; None where the code is wrong or there are too many."""
        if not hmac.compare_digest(code.encode(errors="replace"), self.code.encode()):
            self._note_wrong(address)
            return None
        self._tries.pop(address, None)
        self._make_room()
        if len(self._phones) >= MOST_PHONES:
            return None
        token = secrets.token_urlsafe(CODE_BYTES)
        self._phones[token] = Phone(address, self._clock())
        return token

    def phone(self, token: str) -> Phone | None:
        """The phone of that token, compared in constant time."""
        found = None
        for known, phone in self._phones.items():
            if hmac.compare_digest(known.encode(), token.encode(errors="replace")):
                found = phone
        return found

    def may_act(self, phone: Phone) -> bool:
        """Count one button; False where there were too many of late."""
        now = self._clock()
        if len(phone.acts) == ACTS and now - phone.acts[0] < ACTS_S:
            return False
        phone.acts.append(now)
        return True

    def _make_room(self) -> None:
        """Phones that look no more make room for others, the oldest first."""
        idle = [token for token, phone in self._phones.items() if not phone.streams]
        while len(self._phones) >= MOST_PHONES and idle:
            del self._phones[idle.pop(0)]

    def _note_wrong(self, address: str) -> None:
        if address not in self._tries and len(self._tries) >= MOST_ADDRESSES:
            oldest = min(self._tries, key=lambda known: self._tries[known].last)
            del self._tries[oldest]
        tries = self._tries.setdefault(address, _Tries(0, 0.0))
        tries.wrong += 1
        tries.last = self._clock()

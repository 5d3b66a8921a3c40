"""Follows a watch and says what the phones need to know, at most five times a second. Pure of I/O.

Each message is one JSON object: `t` is the watch's time (s), `c` its clock. The first one to a
phone has the whole document as `full` and the last minute of levels as `minute`; the others what
changed, as a JSON Merge Patch, as `patch`, and once a second the newest levels as `levels`.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable
from typing import Any, Final, Protocol

import numpy as np

from app.models.whole_levels import LOWEST_DB, shown, whole_db
from app.page.document import Condition, Document, document, patch
from app.page.site_document import SITE_KEYS, Site, site_document
from engine.model.commands import Command, Watch
from engine.model.snapshot import Snapshot

PATCH_S: Final = 0.2
BEAT_S: Final = 0.5
"""Without a change there is a message so often, so that 2 s without one means something."""
LEVELS_S: Final = 1.0
SITE_S: Final = 0.5
MINUTE: Final = 60
SILENT_S: Final = 1.5
"""A watch that gave no snapshot for so long is told as silent."""


class Client(Protocol):
    """The watch as the page sees it; `EngineClient` is one."""

    @property
    def stopped(self) -> str:
        """Why nothing is watched at the moment."""
        ...

    def watch(self) -> Watch | None:
        """What is watched."""
        ...

    def latest(self) -> Snapshot | None:
        """The newest snapshot not handed out yet."""
        ...

    def send(self, command: Command) -> None:
        """Pass a command on."""
        ...


class Feed:
    """The document of a watch and its changes."""

    def __init__(
        self,
        client: Client,
        drill: bool,
        clock: Callable[[], float],
        site: Site | None = None,
    ) -> None:
        self.may_see = False
        self._site = site
        self._client, self._drill, self._clock = client, drill, clock
        self._watch: Watch | None = None
        self._snapshot: Snapshot | None = None
        self._document: Document = {"head": {"word": "opening", "text": "Waiting for the watch"}}
        self._failure = ""
        self._heard_at = clock()
        self._fresh = False
        self._said_at = self._levels_at = self._site_at = -1e9
        self._peaks = np.full(0, float(LOWEST_DB))
        self._minute: deque[list[int]] = deque(maxlen=MINUTE)
        self._inputs: tuple[int, ...] = ()
        self._columns: list[int] = []

    @property
    def over(self) -> bool:
        """Nothing more will come."""
        return bool(self._failure) or (self._snapshot is not None and self._snapshot.ended)

    @property
    def incidents(self) -> frozenset[int]:
        """Ids that a phone may speak of: those of the cards it sees."""
        cards = self._document.get("cards", {})
        return frozenset(number for card in cards.values() for number in card["ids"])

    def full(self) -> str:
        """The message for a phone that knows nothing yet."""
        return self._text({"full": self._document, "minute": list(self._minute)})

    def step(self) -> str | None:
        """The message for all phones, where there is one by now; call it every 50 ms or so."""
        self._listen()
        now = self._clock()
        since_s = now - self._said_at
        if since_s < PATCH_S or (not self._fresh and since_s < BEAT_S):
            return None
        self._fresh = False
        message = self._changes(now)
        if not message and since_s < BEAT_S:
            return None
        self._said_at = now
        return self._text(message)

    def _listen(self) -> None:
        try:
            watch, newest = self._client.watch(), self._client.latest()
        except (OSError, ValueError) as error:
            self._fresh = self._fresh or not self._failure
            self._failure = self._failure or str(error)
            return
        if watch is not None:
            self._watch = watch
        if newest is None or self._watch is None:
            return
        inputs = tuple(track.input for track in self._watch.plan.tracks)
        if newest.inputs not in ((), inputs):
            return  # the plan was changed between the two looks
        if inputs != self._inputs:
            self._inputs = inputs
            self._minute.clear()
            self._peaks = np.full(len(inputs), float(LOWEST_DB))
            self._columns = shown(self._watch.plan)
        self._snapshot, self._heard_at, self._fresh = newest, self._clock(), True
        self._peaks = np.fmax(self._peaks, newest.peak_dbfs)

    def _changes(self, now: float) -> Document:
        if self._watch is None or self._snapshot is None:
            made = {"head": {"word": "opening", "text": self._failure or "Waiting for the watch"}}
        else:
            args = (self._watch, self._snapshot, self._condition(now))
            made = document(*args, self._drill, self.may_see)
        made |= self._of_site(now)
        message: Document = {}
        changed = patch(self._document, made)
        if changed:
            message["patch"] = changed
        self._document = made
        if self._snapshot is not None and now - self._levels_at >= LEVELS_S and not self.over:
            self._levels_at = now
            levels = whole_db(self._peaks[self._columns].tolist())
            self._minute.append(levels)
            message["levels"] = levels
            self._peaks[:] = LOWEST_DB
        return message

    def _of_site(self, now: float) -> Document:
        """All carts, looked at twice a second; empty where no site is followed."""
        site, before = self._site, self._document
        if site is None:
            return {}
        site.take_in()
        if now - self._site_at < SITE_S:
            return {key: before[key] for key in SITE_KEYS if key in before}
        self._site_at = now
        shot = self._snapshot
        now_s = 0.0 if shot is None else shot.now_s + now - self._heard_at
        return site_document(site, before, now, now_s)

    def _condition(self, now: float) -> Condition:
        """What matters most of how the watch itself stands."""
        shot = self._snapshot
        assert shot is not None
        if shot.ended:
            return Condition("ended", f"The watch has ended at {self._label()}")
        if self._failure:
            return Condition("ended", f"The watch is over: {self._failure}")
        if self._client.stopped or now - self._heard_at > SILENT_S:
            return Condition("silent", f"No news from the watch since {self._label()}")
        if shot.desk.on_break:
            return Condition("break", "Break")
        if shot.standby:
            return Condition("standby", "Standby: not rolling")
        return Condition("watching")

    def _label(self) -> str:
        return "" if self._snapshot is None else self._snapshot.timecode[:8]

    def _text(self, message: dict[str, Any]) -> str:
        now_s = 0.0 if self._snapshot is None else self._snapshot.now_s
        whole = {"t": round(now_s, 2), "c": self._label(), **message}
        return json.dumps(whole, separators=(",", ":"), ensure_ascii=False)

"""Joins a drill's panel and pages with the watch: what is kept back, picked, and scored."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Signal

from app.models.drill_secrecy import Pick, blindfold, prompt, target, veil
from app.models.fault_words import UNNAMED
from app.services.background import Background
from app.services.bridge import Bridge
from app.views.drill.drill_choice import MOST_SEEDS, DrillChoice
from app.views.drill.drill_panel import DrillPanel
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from engine.drill.targets import targets_of
from engine.model.commands import CallCause, Open
from engine.model.drill_causes import CALLED, Cause
from engine.model.snapshot import Snapshot

if TYPE_CHECKING:
    from engine.drill.finish import Finished

SCORING = "The drill has ended. Making its score…"
SCORE_AFTER_MS = 700
"""The log's last lines are on the disk by then."""


class DrillController(QObject):
    """Nothing of it shows unless a drill runs. `wanted` carries an `Open`."""

    wanted = Signal(object)

    def __init__(
        self, bridge: Bridge, page: WatchPage, layer: Layer, background: Background
    ) -> None:
        super().__init__(page)
        self._bridge, self._page, self._layer = bridge, page, layer
        self._background = background
        self.panel: DrillPanel = page.drill_panel
        self.request: Open | None = None
        self.picks: tuple[Pick, ...] = ()
        self._scored = False
        self.panel.picked.connect(self.pick)
        self.panel.ended.connect(self.end)

    def ask(self, takes: Sequence[str], plan: str | None) -> None:
        """Ask what the drill shall be."""
        page = DrillChoice(self._layer.below, takes, plan)
        page.chosen.connect(self.wanted)
        self._layer.open(page)

    def begin(self, request: Open) -> None:
        """A watch was asked for; a drill if it has a seed."""
        self.request = request if request.seed is not None else None
        self.picks, self._scored = (), False

    @property
    def to_be_scored(self) -> bool:
        """A drill is on that can still be ended for its score so far."""
        return self.secret and self._bridge.folder is not None

    def end_first(self) -> bool:
        """End the drill that is on for its score; False where there is none to end."""
        if not self.to_be_scored:
            return False
        self.end()
        return True

    @property
    def secret(self) -> bool:
        """A drill is on, and its score is not known yet."""
        return self.request is not None and not self._scored

    def start(self) -> None:
        """The watch has begun: show what belongs to a drill, or hide it."""
        request = self.request
        self.panel.setVisible(request is not None)
        self.panel.offer(
            [c for c in CALLED if c is Cause.NOTHING or targets_of(c, self._page.plan.tracks)]
        )
        blind = request is not None and request.blind
        self._page.fix_list.setVisible(not blind)
        self._page.closer.blind = blind

    # While it runs

    def redact(self, snapshot: Snapshot) -> Snapshot:
        """The snapshot as the crew may see it."""
        if self.request is None:
            return snapshot
        return blindfold(snapshot) if self.request.blind else veil(snapshot, self.picks)

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Bring the panel up to date; at the end of the take, the score."""
        if self.request is None:
            return
        last = self.picks[-1] if self.picks else None
        self.panel.put(_head(self.request), prompt(self._page.plan, self._target(), last))
        if snapshot.ended:
            self._score_soon(self._bridge.folder)

    def _target(self) -> tuple[int, ...]:
        page = self._page
        tracks = target(page.cards, page.fix_list.current, page.board.chosen)
        last = self.picks[-1] if self.picks else None
        waits = any(set(card.tracks) & set(tracks) for card in page.cards if card.fault == UNNAMED)
        return () if last is not None and last.tracks == tracks and not waits else tracks

    def pick(self, cause: Cause) -> None:
        """The mixer says what it is."""
        page = self._page
        tracks = target(page.cards, page.fix_list.current, page.board.chosen)
        if page.last is None or not tracks:
            page.footer.say("Choose a track first, then its cause.")
            return
        self.picks = (*self.picks, Pick(page.last.now_s, tracks, cause))
        self._bridge.ask(CallCause(tracks[0], cause))
        page.footer.say("")

    # The end

    def end(self) -> None:
        """The crew ends it: the score so far."""
        folder = self._bridge.folder
        self._bridge.stop()
        self._score_soon(folder)

    def _score_soon(self, folder: Path | None) -> None:
        if self._scored or folder is None:
            return
        self._scored = True
        self._page.footer.say(SCORING, stay=True)
        QTimer.singleShot(SCORE_AFTER_MS, self, lambda: self._score(folder))

    def _score(self, folder: Path) -> None:
        def work() -> Finished | str:
            from app.controllers.drill_score import (
                finished,  # heavy: only now, and off the window's thread
            )

            return finished(folder)

        self._background.ask(work, self._show_score)

    def _show_score(self, done: Finished | str) -> None:
        if isinstance(done, str):
            self._page.footer.say(done)
            return
        from app.controllers.drill_score import page_of

        self._page.footer.say("")
        self.panel.hide()
        page = page_of(done, self._layer.below, self._page.look)
        page.again.connect(self._again)
        self._layer.open(page)

    def _again(self, same: bool) -> None:
        assert self.request is not None
        self._layer.hide()
        seed = self.request.seed if same else secrets.randbelow(MOST_SEEDS)
        self.wanted.emit(replace(self.request, seed=seed))


def _head(request: Open) -> str:
    return f"DRILL · {request.level}" + (" · blind" if request.blind else "")

"""The list at the right: what to fix, most urgent first, with the buttons that answer it."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal, SignalInstance
from PySide6.QtWidgets import QLabel, QScrollArea, QVBoxLayout, QWidget

from app.models.alarm_card import Card
from app.style.theme import NIGHT, Look
from app.views.fix_card import CardView
from app.views.signs_list import SignsList
from app.views.widgets.basics import plain
from engine.model.messages import AlarmState, Severity

ROOMY = 4
"""Up to this many cards are all shown in full; beyond, only reds and the chosen one are."""


def _waits(card: Card) -> bool:
    """It stands and nobody has seen it."""
    return card.severity is not None and card.state is AlarmState.UNACKNOWLEDGED


class FixList(QWidget):
    """All cards. `seen`, `shelved`, `listen_asked` carry a `Card`; `chosen` one or None."""

    seen = Signal(object)
    shelved = Signal(object)
    listen_asked = Signal(object)
    chosen = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("aside")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName("To fix, most urgent first")
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.look, self.scale = NIGHT, 1.0
        self.shelve_min = 5.0
        self.heading = plain("TO FIX, MOST URGENT FIRST", "heading")
        self.nothing = plain("Nothing to fix.", "dim")
        self.cards_box = QWidget()
        self.cards_box.setObjectName("cards")
        self._cards_column = QVBoxLayout(self.cards_box)
        self._cards_column.setContentsMargins(0, 0, 0, 0)
        self._cards_column.addStretch(1)
        self.area = QScrollArea()
        self.area.setWidgetResizable(True)
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setWidget(self.cards_box)
        self._column = QVBoxLayout(self)
        for part in (self.heading, self.nothing):
            self._column.addWidget(part)
        self._column.addWidget(self.area, 1)
        self.signs = SignsList()
        self._column.addWidget(self.signs)
        self.cards: tuple[Card, ...] = ()
        self._views: dict[tuple[int, ...], CardView] = {}
        self._key: tuple[int, ...] | None = None
        self._by_hand = False

    def set_look(self, look: Look, scale: float) -> None:
        """Change colours and size; the cards are made anew."""
        self.look, self.scale = look, scale
        edge = round(14 * scale)
        self._column.setContentsMargins(edge, round(12 * scale), edge, round(6 * scale))
        self._column.setSpacing(round(10 * scale))
        self._cards_column.setSpacing(round(9 * scale))
        self.signs.set_look(look, scale)
        self._make_anew()

    def set_shelve(self, minutes: float) -> None:
        """The short time that the buttons name."""
        if minutes != self.shelve_min:
            self.shelve_min = minutes
            self._make_anew()

    def _make_anew(self) -> None:
        cards, self.cards = self.cards, ()
        for key in list(self._views):
            self._drop(key)
        self.put(cards)

    @property
    def current(self) -> Card | None:
        """The card that keys act on."""
        return next((c for c in self.cards if c.key == self._key), None)

    def put(self, cards: Sequence[Card]) -> None:
        """Show these cards in this order, keeping the chosen one chosen."""
        cards = tuple(cards)
        if cards == self.cards:
            return
        before, held = self.current, self._button_with_focus()
        order = [c.key for c in self.cards]
        self.cards = cards
        self._follow(before)
        for key in set(self._views) - {c.key for c in cards}:
            self._drop(key)
        for card in cards:
            if card.key not in self._views:
                self._views[card.key] = self._made(card)
        if order != [c.key for c in cards]:
            for place, card in enumerate(cards):
                self._cards_column.insertWidget(place, self._views[card.key])
            self._set_tab_order()
        self._refresh()
        self.nothing.setVisible(not cards)
        if held is not None and not held.isVisible():
            self.setFocus()  # left to Qt it would go to the next button, and Enter would press it
        if self.current != before:
            self.chosen.emit(self.current)

    def _set_tab_order(self) -> None:
        """From the list to the buttons of its cards, from top to bottom."""
        before: QWidget = self
        for card in self.cards:
            for button in self._views[card.key].answers:
                QWidget.setTabOrder(before, button)
                before = button

    def _button_with_focus(self) -> QWidget | None:
        """The button of a card that keys go to."""
        focus = self.window().focusWidget()
        return focus if focus is not None and self.cards_box.isAncestorOf(focus) else None

    def _follow(self, before: Card | None) -> None:
        """Where the choice goes by itself: to the most urgent card not seen yet.

        It leaves a card that is gone or has just been answered, and one not chosen by hand that
        needs no answer; never one that still does, or a key meant for it would hit another.
        """
        now = self.current
        answered = now is not None and before is not None and _waits(before) and not _waits(now)
        if now is not None and not answered and (self._by_hand or _waits(now)):
            return
        self._by_hand = False
        first = next((c for c in self.cards if _waits(c)), next(iter(self.cards), None))
        self._key = first.key if first else None

    def _made(self, card: Card) -> CardView:
        view = CardView(card, self.look, self.scale)
        view.shelve_min = self.shelve_min
        view.pressed.connect(self.choose)
        view.seen.connect(lambda key: self._act(self.seen, key))
        view.shelved.connect(lambda key: self._act(self.shelved, key))
        view.listen_asked.connect(lambda key: self._act(self.listen_asked, key))
        return view

    def _act(self, signal: SignalInstance, key: tuple[int, ...]) -> None:
        card = next((c for c in self.cards if c.key == key), None)
        if card is not None:
            signal.emit(card)

    def _drop(self, key: tuple[int, ...]) -> None:
        view = self._views.pop(key)
        self._cards_column.removeWidget(view)
        view.hide()
        view.deleteLater()

    def _refresh(self) -> None:
        roomy = len(self.cards) <= ROOMY
        for card in self.cards:
            chosen = card.key == self._key
            full = roomy or chosen or card.severity is Severity.RED
            self._views[card.key].put(card, full, chosen)

    def choose(self, key: tuple[int, ...]) -> None:
        """Choose a card by hand and bring it into view."""
        self._by_hand = True
        if key == self._key or key not in self._views:
            return
        self._key = key
        self._refresh()
        self.area.ensureWidgetVisible(self._views[key], 0, 20)
        self.chosen.emit(self.current)

    def choose_track(self, number: int) -> bool:
        """Choose the first card that speaks of that track; False where none does."""
        card = next((c for c in self.cards if number in c.tracks), None)
        if card is None:
            return False
        self.choose(card.key)
        return True

    def step(self, by: int) -> None:
        """Choose the card above or below."""
        keys = [c.key for c in self.cards]
        if keys:
            at = keys.index(self._key) if self._key in keys else -1
            self.choose(keys[max(0, min(len(keys) - 1, at + by))])

    def current_notes(self) -> str:
        """The notes on the chosen card, as they stand on the screen."""
        return "" if self._key not in self._views else self._views[self._key].notes.text()

    def titles(self) -> list[QLabel]:
        """The titles from top to bottom, as they stand on the screen."""
        return [self._views[c.key].title for c in self.cards]

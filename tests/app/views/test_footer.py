"""The line below the board: notices come and go."""

from __future__ import annotations

from pytestqt.qtbot import QtBot

from app.views.footer import FEWEST_HINTS, KEY_HINTS, STAYS_S, Footer
from tests.support.qt import fake_client


def test_a_notice_goes_after_a_while_unless_it_is_to_stay(qtbot: QtBot) -> None:
    """What a key did is told for some seconds of the watch; a lasting trouble until the next."""
    footer = Footer()
    qtbot.addWidget(footer)
    plan = fake_client.tower_plan()

    def look(after_s: float, **more: object) -> str:
        footer.show_snapshot(fake_client.snapshot(plan, now_s=fake_client.NOW_S + after_s, **more))
        return footer.notice.text()

    footer.say("Undone: seen 3 Rigger main.")
    assert look(0.0) == look(STAYS_S - 0.1) == "Undone: seen 3 Rigger main."
    assert look(STAYS_S + 0.1) == ""
    footer.say("No chime: choose an output with C (gone).", stay=True)
    assert look(20.0) == look(9999.0) == "No chime: choose an output with C (gone)."
    assert look(10000.0, notice="looking for the interface") == "looking for the interface"
    assert look(10000.0 + STAYS_S - 0.1) == "looking for the interface"
    assert look(10000.0 + 2 * STAYS_S) == ""


def test_hints_of_keys_give_way_whole(qtbot: QtBot) -> None:
    """Where all of them have no room, the one that lists them stays; none is cut in the middle."""
    footer = Footer()
    qtbot.addWidget(footer)
    footer.show_snapshot(fake_client.snapshot(fake_client.tower_plan()))
    footer.resize(1600, 32)
    footer.show()
    assert footer.keys.text() == KEY_HINTS
    footer.resize(640, 32)
    assert footer.keys.text() == FEWEST_HINTS
    assert footer.keys.width() >= footer.keys.sizeHint().width()

"""The line below the board: notices come and go."""

from __future__ import annotations

from pytestqt.qtbot import QtBot

from app.views.footer import STAYS_S, Footer
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

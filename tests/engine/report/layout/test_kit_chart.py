"""The chart of what failed how often, from counts made by hand."""

from __future__ import annotations

from engine.report.content.crew_figures import PACK, RECEIVER, KitFigures
from engine.report.layout.drawing import Box, Words
from engine.report.layout.kit_chart import MOST, SESSIONS, WIDTH, kit_chart


def failed(what: str, name: str, failures: int) -> KitFigures:
    """One piece of kit."""
    return KitFigures(what, name, failures, ("muted",), 100.0, None, None, None)


def test_bars_stand_in_the_order_of_the_sessions_on_one_scale() -> None:
    """Pack 7 failed once, then three times, now twice: bars of a third, all and two thirds."""
    drawing = kit_chart([failed(PACK, "7", 2)], [{(PACK, "7"): 3}, {(PACK, "7"): 1}])
    bars = sorted((s for s in drawing.shapes if isinstance(s, Box)), key=lambda b: b.x)
    heights = [bar.height / max(b.height for b in bars) for bar in bars]
    assert [round(h, 3) for h in heights] == [0.333, 1.0, 0.667]
    assert bars[2].fill != bars[1].fill
    assert "pack 7 2, before 1, 3" in drawing.title


def test_kit_that_held_has_no_bar_and_kit_that_was_not_there_a_dash() -> None:
    """Nothing is taken for a failure, and nothing unknown for health."""
    drawing = kit_chart([failed(RECEIVER, "A", 1)], [{(RECEIVER, "A"): 0}, {}])
    assert len([s for s in drawing.shapes if isinstance(s, Box)]) == 1
    dashes = [s for s in drawing.shapes if isinstance(s, Words) and s.text == "\N{EN DASH}"]
    assert len(dashes) == 1
    assert dashes[0].x < WIDTH / 2


def test_a_long_list_and_many_sessions_stay_inside() -> None:
    """At most so many rows and columns, and no shape outside the frame."""
    kit = [failed(PACK, "a pack with a name that is far too long", n) for n in range(20, 0, -1)]
    drawing = kit_chart(kit, [{(PACK, kit[0].name): n} for n in range(30)])
    bars = [s for s in drawing.shapes if isinstance(s, Box)]
    assert len(bars) <= MOST * SESSIONS
    assert all(b.x >= 0.0 and b.x + b.width <= WIDTH for b in bars)
    assert all(b.y >= 0.0 and b.y + b.height <= drawing.height for b in bars)

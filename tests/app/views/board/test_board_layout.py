"""Geometry of the board: nothing overlaps, nothing sticks out."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from app.style.theme import scale_for
from app.views.board.board_layout import Box, RowBoxes, Widths, give_way, lay_out, split

ASK = Widths(heading=90, number=26, name=110, level=32, state=120)


def cells(row: RowBoxes) -> list[Box]:
    """The cells from left to right."""
    return [row.number, row.name, row.ribbon, row.bar, row.level, row.state]


def apart(one: Box, other: Box) -> bool:
    """They share no pixel."""
    across = one.right <= other.x or other.right <= one.x
    return across or one.bottom <= other.y or other.bottom <= one.y


@given(
    sizes=st.lists(st.integers(1, 8), min_size=1, max_size=64).filter(lambda s: sum(s) <= 64),
    size=st.sampled_from([(1280, 720), (1440, 900), (1920, 1080), (2560, 1440)]),
)
def test_rows_fit_without_overlap(sizes: list[int], size: tuple[int, int]) -> None:
    """1 to 64 tracks in any grouping fit the board of every window size, each row once."""
    scale = scale_for(*size)
    width, height = size[0] - round(408 * scale), size[1] - round(96 * scale)
    places = iter(range(sum(sizes)))
    groups = [tuple(next(places) for _ in range(n)) for n in sizes]
    made = lay_out(groups, width, height, scale, lambda *_: ASK)
    assert sorted(row.track_index for row in made.rows) == list(range(sum(sizes)))
    assert len({row.row.h for row in made.rows}) == 1
    for row in made.rows:
        assert row.row.x >= 0
        assert row.row.right <= width
        assert row.row.bottom <= height
        assert all(left.right <= right.x for left, right in pairwise(cells(row)))
        assert row.state.right <= row.row.right
    rows = [row.row for row in made.rows]
    assert all(apart(a, b) for n, a in enumerate(rows) for b in rows[n + 1 :])


def test_rows_share_the_height() -> None:
    """Few rows are high, many are low; none higher than the eye needs."""
    heights = [
        lay_out([tuple(range(n))], 900, 800, 1.0, lambda *_: ASK).row_h for n in (1, 12, 20, 24)
    ]
    assert heights == sorted(heights, reverse=True)
    assert heights[0] == 66


def test_a_strip_is_worth_more_than_what_stands_beside_a_word() -> None:
    """At two columns the state's note gives way first, then the number, then the name's middle;
    what is left to the strip shows two minutes."""
    asked = Widths(95, 35, 120, 38, 148, name_least=92, state_least=110)
    wide, less, narrow = (give_way(asked, row_w, 1.0, False) for row_w in (540, 494, 380))
    assert wide == asked
    assert (less.state, less.level, less.name) == (110, 38, 120)
    assert (narrow.state, narrow.level, narrow.name) == (110, 0, 92)
    groups = [(n, n + 1) for n in range(0, 32, 2)]
    made = lay_out(groups, 1030, 770, 1.0, lambda *_: asked)
    assert made.columns == 2
    assert {row.ribbon.w >= 80 for row in made.rows} == {True}


def test_two_columns_only_when_needed() -> None:
    """12 and 16 tracks stand in one column at 1280 × 720, 64 in two dense ones."""
    one = lay_out([(n, n + 1) for n in range(0, 16, 2)], 930, 630, 0.86, lambda *_: ASK)
    two = lay_out([(n, n + 1) for n in range(0, 64, 2)], 930, 630, 0.86, lambda *_: ASK)
    assert (one.columns, one.dense) == (1, False)
    assert (two.columns, two.dense) == (2, True)


def test_low_rows_with_names_rather_than_two_columns_without() -> None:
    """Where large text leaves two columns no room for names, one column of low rows stays."""
    wide = Widths(heading=140, number=40, name=200, level=48, state=200, name_least=150)
    low = lay_out([tuple(range(14))], 780, 400, 1.5, lambda *_: wide)
    assert (low.columns, low.dense) == (1, True)
    assert all(row.name.w >= 150 for row in low.rows)


@given(st.lists(st.integers(1, 40), min_size=1, max_size=64), st.integers(1, 2))
def test_split_loses_no_row(sizes: list[int], columns: int) -> None:
    """Dealt to columns, every group keeps all its rows, in order."""
    dealt = [piece for part in split(sizes, columns) for piece in part]
    found: dict[int, list[int]] = {}
    for group, first, count in dealt:
        found.setdefault(group, []).extend(range(first, first + count))
    assert found == {n: list(range(size)) for n, size in enumerate(sizes)}

"""The line of each key and table, against what the standard library's parser holds."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from engine.plan.toml_lines import DEEPEST, Path, toml_lines

TRICKY = '''\
# [not.a.table]
top."quoted.key"."\\u0061" = [1, # ]
  {b = "}", c.d = '#'},
  [
    2]]
[fruit.'a b']
long = """
x = 1 "" \\"""
[no]"""""
[[fruit.list]]
date = 1979-05-27 07:32:00
[[fruit.list]]
[fruit.list.sub]
x = {}
[[fruit.list.deep]]
y = \'\'\'
'' #\'\'\'
'''


def paths(value: Any, path: Path = ()) -> set[Path]:
    """Every place in a parsed document, as deep as lines are kept."""
    if len(path) == DEEPEST or not isinstance(value, dict | list):
        return {path}
    entries = value.items() if isinstance(value, dict) else enumerate(value)
    return {path}.union(*(paths(inner, (*path, key)) for key, inner in entries))


def test_each_kind_of_key_and_table_has_its_line():
    """Strings over lines, quoted and dotted keys, lists and entries do not mislead the walk."""
    lines = toml_lines(TRICKY)
    assert lines[("top", "quoted.key", "a")] == 2
    assert lines[("top", "quoted.key", "a", 1, "c", "d")] == 3
    assert lines[("top", "quoted.key", "a", 2, 0)] == 5
    assert lines[("fruit", "a b", "long")] == 7
    assert lines[("fruit", "list", 0, "date")] == 11
    assert lines[("fruit", "list", 1, "sub", "x")] == 14
    assert lines[("fruit", "list", 1, "deep", 0, "y")] == 16
    assert paths(tomllib.loads(TRICKY)) - {()} == set(lines)


KEYS = st.one_of(st.sampled_from(["a", "b", "'a'", '"c.d"', '"\\""']))
VALUES = st.recursive(
    st.sampled_from(["1", '"#["', "'\"'", '"""\n]"""', "'''\n'''", "inf", "true", "1979-05-27"]),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[\n" + ",\n ".join(items) + "]"),
        st.dictionaries(st.sampled_from("xyz"), inner, max_size=2).map(
            lambda table: "{" + ", ".join(f"{k} = {v}" for k, v in table.items()) + "}"
        ),
    ),
    max_leaves=6,
)
DOTTED = st.lists(KEYS, min_size=1, max_size=3).map(" . ".join)
STATEMENTS = st.one_of(
    st.tuples(DOTTED, VALUES).map(lambda pair: f"{pair[0]} = {pair[1]}"),
    DOTTED.map(lambda key: f"[ {key} ]"),
    DOTTED.map(lambda key: f"[[{key}]] # [x]"),
)


@given(st.lists(STATEMENTS, max_size=8))
def test_every_place_that_the_parser_knows_has_a_line(statements):
    """Whatever valid document is put together, the walk finds the very same places."""
    text = ""
    for statement in statements:  # keep what is still valid with all that came before
        try:
            tomllib.loads(text + statement + "\n")
        except tomllib.TOMLDecodeError:
            continue
        text += statement + "\n"
    lines = toml_lines(text)
    assert paths(tomllib.loads(text)) - {()} == set(lines)
    assert all(1 <= line <= text.count("\n") for line in lines.values())

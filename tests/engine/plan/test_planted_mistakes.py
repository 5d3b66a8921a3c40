"""Mistakes anywhere in a plan are named on their line, and nothing worse happens."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from engine.plan.load import PlanError, PlanMistake, load_plan, new_plan
from tests.support.plan_texts import EVERY_MISTAKE, GOOD, mistakes

SAFE = st.text("abc XYZ019äß語#=[]{}'\"\\.,", max_size=20).map(str.strip)


@st.composite
def planted(draw: st.DrawFn) -> tuple[str, int, str]:
    """A valid plan in varied TOML with one mistake planted: text, its line, its key."""
    filler = st.sampled_from(["", "\n", "# input = 0 [[track]]\n", '\n# \'x" """\n', "\t \n"])
    assign = st.sampled_from([" = ", "=", "\t= "])
    bad_key, bad = draw(
        st.sampled_from(
            [
                ("wrong", "1"),
                ("kind", '"lapel"'),
                ("name", "[1, 2]"),
                ("battery", "'long'"),
                ("limits.hum", "1"),
                ("limits.silent_red_s", "-1"),
                ('"\\u0077rong"', "{ a = [ 1, { b = '#' } ] }"),
                ("'limits' . \"low_dbfs\"", '"""\nx"""'),
            ]
        )
    )
    named = {'"\\u0077rong"': "wrong", "'limits' . \"low_dbfs\"": "limits.low_dbfs"}
    count = draw(st.integers(1, 5))
    victim = draw(st.integers(0, count - 1))
    text = draw(filler)
    line = 0
    for place in range(count):
        text += draw(filler) + draw(st.sampled_from(["[[track]]", "[[ 'track' ]] # [take]"])) + "\n"
        pairs = [("input", str(place + 1)), ("pack", "'''" + draw(filler).strip() + "'''")]
        pairs.append(("who", '"' + draw(SAFE).replace("\\", "\\\\").replace('"', '\\"') + '"'))
        pairs.append(("placement", '"""\\\n\n   deck"""'))
        if place == victim:
            pairs.insert(draw(st.integers(0, 4)), (bad_key, bad))
        for key, value in pairs:
            text += draw(filler)
            line = text.count("\n") + 1 if key == bad_key else line
            text += f"{key}{draw(assign)}{value}{draw(st.sampled_from(['', ' # x = 1']))}\n"
        limits = draw(st.booleans()) and not (place == victim and "limits" in bad_key)
        text += "[track.limits]\nhum_amber_s = 1_0.5\n" if limits else ""
    return text, line, f"track.{named.get(bad_key, bad_key)}"


@given(planted(), st.sampled_from(["\n", "\r\n"]))
@settings(max_examples=400, suppress_health_check=[HealthCheck.too_slow])
def test_a_planted_mistake_is_found_on_its_line(tmp_path_factory, case, line_end):
    """However a plan is laid out, one mistake in it is reported alone, by its line and key."""
    text, line, key = case
    path = tmp_path_factory.getbasetemp() / "planted.toml"
    path.write_bytes(text.replace("\n", line_end).encode())
    assert list(mistakes(path)) == [(line, key)]


MUTATIONS = st.lists(
    st.tuples(
        st.integers(0, 2000),
        st.integers(0, 12),
        st.one_of(
            st.binary(max_size=4),
            st.sampled_from(
                [b'"', b"[", b"]", b"{", b"=", b"\n", b".", b'"""', b"#", b"inf", b"-"]
            ),
        ),
    ),
    min_size=1,
    max_size=4,
)


@given(st.sampled_from([GOOD, EVERY_MISTAKE, new_plan(["Boom 1", "Ringer"], "Drill")]), MUTATIONS)
@settings(max_examples=2500, deadline=1000)
def test_a_mutated_plan_is_loaded_or_refused(tmp_path_factory, content, mutations):
    """Whatever happens to a plan's bytes, it loads or it is refused with lines that exist."""
    data = content.encode()
    for at, removed, added in mutations:
        at %= len(data) + 1
        data = data[:at] + added + data[at + removed :]
    path = tmp_path_factory.getbasetemp() / "mutated.toml"
    path.write_bytes(data)
    found: tuple[PlanMistake, ...] | None = None
    try:
        load_plan(path, inputs=12)
    except PlanError as error:
        found = error.mistakes
    assert found != ()
    assert all(0 <= mistake.line <= data.count(b"\n") + 1 for mistake in found or ())

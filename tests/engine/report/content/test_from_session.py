"""A report's section from a session's log."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from engine.model.commands import Acknowledge, Attend, FreshBattery, Note, Open, Standby
from engine.model.crew_notes import Stage
from engine.model.line_results import Heard
from engine.model.messages import Severity
from engine.report.content.from_session import read_session, take_of, with_levels, with_take
from engine.report.content.report_data import Section
from engine.report.content.sections import SEEN, figures
from engine.report.content.take_words import TIMECODE_FROM
from engine.session.folders import LOG
from engine.session.loudness_totals import Gates, LoudnessTotals
from engine.session.schema import NotALogError
from engine.sources.synthetic import ArraySource
from engine.timecode.clock import Origin
from tests.support.sample_report import incident
from tests.support.sample_session import START_S, SessionWriter, crew_plan

PLAN = crew_plan(4)


def read(folder: Path) -> Section:
    """The section of the session in that folder."""
    return read_session(folder).section


@pytest.fixture
def writer(tmp_path: Path) -> SessionWriter:
    """A session of 200 s that ended in good order."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, 200.0)
    with writer.at_once():
        writer.levels(200)
    return writer


def test_a_session_is_told_as_it_was_logged(tmp_path: Path, writer: SessionWriter) -> None:
    """Plan, length, heading, incidents and who saw them when come from the log."""
    writer.incident(incident(), [("seen", 104.0, None), ("shelved", 105.0, 120.0)])
    writer.action(Acknowledge(1), 104.0, "mixer")
    writer.action(Attend(1, "Runner", Stage.ON_THE_WAY), 110.0, "page")
    writer.action(Note(1, "pack changed"), 140.0, "assistant")
    writer.action(Attend(1, "Runner", Stage.FIXED), 141.0, "page")
    writer.close()
    made = read(tmp_path)
    (entry,) = made.entries
    assert (made.plan.title, made.plan.production) == (PLAN.title, PLAN.production)
    assert made.plan.tracks == PLAN.tracks
    assert made.duration_s == 200.0
    assert [(d.text, d.by) for d in entry.done] == [
        (SEEN, "mixer"),
        ("shelved until 21:02:00:00", ""),
        ("Runner: on the way", "page"),
        ("note “pack changed”", "assistant"),
        ("Runner: fixed?", "page"),
    ]
    assert made.timecode(entry.start_s) == "21:01:40:00"
    assert made.honest == ()
    assert figures(made).answer_median_s == 3.5


def test_what_was_taken_back_is_told_in_the_boards_words(
    tmp_path: Path, writer: SessionWriter
) -> None:
    """The card offers `Put back`, the row says that O puts it back: so does the report."""
    kinds = ("seen", "unseen", "shelved", "unshelved", "out of service", "in service")
    writer.incident(incident(), [(kind, 104.0 + n, None) for n, kind in enumerate(kinds)])
    writer.close()
    (entry,) = read(tmp_path).entries
    assert [d.text for d in entry.done] == [
        *(SEEN, "seen taken back", "shelved until put back", "put back"),
        *("out of service", "back in service"),
    ]


def test_levels_are_those_of_the_log(tmp_path: Path) -> None:
    """Maxima, RMS and history are what a level a second allows; the rest is not known."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, 50.0)
    writer.levels(50, seed=3)
    writer.close()
    peak = -30.0 + 6.0 * np.random.default_rng(3).standard_normal((50, 4))
    made = read(tmp_path)
    for place, one in enumerate(made.tracks):
        assert one.sample_peak_max_dbfs == pytest.approx(peak[:, place].max(), abs=0.01)
        power = np.mean(10.0 ** ((peak[:, place] - 12.0) / 10.0))
        assert one.rms_dbfs == pytest.approx(10.0 * np.log10(power), abs=0.02)
        assert one.integrated_lufs is None
    np.testing.assert_allclose(made.history.sample_peak_dbfs, peak, atol=0.01)
    assert "not known" in made.tracks_note


def stretch(
    lufs: float, peak: float, present: float, measured_s: float
) -> tuple[LoudnessTotals, Gates]:
    """Four tracks alike, at that loudness all the time."""
    gates = Gates(4)
    for _ in range(round(10 * measured_s)):
        gates.add_block(np.full(4, lufs))
    levels = (lufs, lufs + 3.0, lufs + 1.0, peak + 0.1, peak, lufs - 2.0, -60.0, present)
    return LoudnessTotals(
        (measured_s,) * 4, (measured_s,) * 4, *((one,) * 4 for one in levels)
    ), gates


def test_figures_of_one_stretch_are_told_as_measured(tmp_path: Path, writer: SessionWriter) -> None:
    """What the engine measured to its end stands in the report, with nothing to note."""
    writer.stretch(0.0, 200.0, *stretch(-24.03, -6.0, 0.8, 200.0))
    writer.close()
    made = read(tmp_path)
    assert made.tracks_note == ""
    (one, *_) = made.tracks
    assert (one.integrated_lufs, one.short_term_max_lufs) == (-24.03, -23.03)
    assert (one.true_peak_max_dbtp, one.present_fraction) == (-5.9, 0.8)


def test_figures_of_a_restarted_watch_are_put_together(tmp_path: Path) -> None:
    """Maxima of all, means by their length; what a killed engine had not written is owned up to.

    By hand: 100 s at -20 and 100 s at -26 LUFS, both above the relative gate, have a mean power
    of 10 * log10((10^-2 + 10^-2.6) / 2) = -22.04.
    """
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, None)
    writer.run(110.0, 210.0)
    writer.levels(210)
    writer.stretch(0.0, 100.0, *stretch(-20.0, -3.0, 1.0, 100.0))
    writer.stretch(110.0, 210.0, *stretch(-26.0, -9.0, 0.5, 100.0))
    writer.close()
    made = read(tmp_path)
    (one, *_) = made.tracks
    assert one.integrated_lufs == pytest.approx(-22.04, abs=0.01)
    assert one.rms_dbfs == pytest.approx(-24.04, abs=0.01)
    assert one.sample_peak_max_dbfs == -3.0
    assert one.present_fraction == 0.75
    assert "2 runs" in made.tracks_note
    assert "10.0 s in all are not in the loudness figures" in made.tracks_note


def test_a_log_of_an_earlier_version_says_what_it_lacks(
    tmp_path: Path, writer: SessionWriter
) -> None:
    """Without the table of figures the report is made of a level a second, and says so."""
    writer._log.execute("DROP TABLE stretch")
    writer._log.execute("PRAGMA user_version = 3")
    writer.close()
    made = read(tmp_path)
    assert "not known" in made.tracks_note
    assert made.tracks[0].sample_peak_max_dbfs is not None


def test_lost_audio_and_holes_of_the_log_are_owned_up_to(
    tmp_path: Path, writer: SessionWriter
) -> None:
    """Each loss has its place; losses told second by second are one; holes of the log are said."""
    for second in (50, 51, 52):
        writer.gap("audio", second, 1.0, 0, "unplugged")
    writer.gap("audio", 80.0, 0.2, 0, "overflow")
    writer.gap("log", 90.0, 0.0, 7, "disk full")
    writer.close()
    made = read(tmp_path)
    assert [(b.start_s, b.end_s) for b in made.breaks] == [(49.0, 52.0), (79.8, 80.0)]
    assert all(b.lost for b in made.breaks)
    assert made.honest == ("The log lacks 7 lines near 21:01:30:00: disk full",)


def test_an_engine_that_was_killed_leaves_a_gap(tmp_path: Path) -> None:
    """From the last second that was heard to where the next engine began."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, None)
    writer.levels(30)
    writer.run(33.5, None)
    writer.close()
    made = read(tmp_path)
    assert [(b.start_s, b.end_s) for b in made.breaks] == [(30.0, 33.5)]
    assert made.honest == ("The watch broke off at 21:00:30:00: what came after is not known.",)


def test_standby_marks_and_batteries(tmp_path: Path, writer: SessionWriter) -> None:
    """Standby is a break of its own kind; marks and fresh batteries are listed with who did it."""
    writer.action(Standby(True), 20.0)
    writer.action(Standby(False), 60.0)
    writer.action(Standby(True), 150.0)
    writer.mark("slate 7", 61.0, "mixer")
    writer.action(FreshBattery(2, None, "4h"), 30.0, "assistant")
    writer.close()
    made = read(tmp_path)
    spans = [(b.start_s, b.end_s, b.lost) for b in made.breaks]
    assert spans == [(20.0, 60.0, False), (150.0, 200.0, False)]
    assert [(m.at_s, m.text, m.by) for m in made.marks] == [(61.0, "slate 7", "mixer")]
    assert [(b.at_s, b.track, b.text) for b in made.batteries] == [
        (30.0, 2, "fresh battery, lasts 4h")
    ]


def test_the_line_check_is_told(tmp_path: Path, writer: SessionWriter) -> None:
    """Verdict, what was heard with units, what is wrong with it, and the note."""
    heard = Heard(speech_s=4.0, speech_dbfs=-36.0, peak_dbfs=-22.0, floor_dbfs=-58.0)
    writer.line_check(1, "failed", "loose plug", heard, 12.0)
    writer.close()
    (one,) = read(tmp_path).line_check
    assert (one.track, one.at_s) == (1, 12.0)
    assert one.text == (
        "failed; speech −36.0 dBFS; peak −22.0 dBFS; floor −58.0 dBFS; "
        "6 dB under the target: gain up; note “loose plug”"
    )


def test_a_live_session_has_levels_around_each_onset(tmp_path: Path, writer: SessionWriter) -> None:
    """No take to read again: the level history stands in, without a waveform."""
    writer.incident(incident())
    writer.close()
    logged = read_session(tmp_path)
    assert take_of(logged) is None
    (entry,) = with_levels(logged).entries
    assert entry.excerpt is not None
    assert entry.excerpt.low is None
    assert np.isfinite(entry.excerpt.level_dbfs).all()


def test_a_replayed_take_is_found_again(tmp_path: Path) -> None:
    """Only one that was played once, from a file that is still there."""
    take = tmp_path / "take.wav"
    take.write_bytes(b"")
    for name, request, expected in (
        ("once", Open(take=str(take)), take),
        ("loop", Open(take=str(take), loop=True), None),
        ("gone", Open(take=str(tmp_path / "none.wav")), None),
    ):
        SessionWriter(tmp_path / name, PLAN, live=False, request=request).close()
        assert take_of(read_session(tmp_path / name)) == expected


def test_a_watched_take_says_the_words_of_a_scanned_one(tmp_path: Path) -> None:
    """Its time reference, or that it has none; scene and take as soon as its file is read."""
    take = str(tmp_path / "take.wav")
    for name, start_s, origin in (("stated", 0.0, Origin.FILE), ("none", START_S, Origin.START)):
        folder = tmp_path / name
        request = Open(take=take, start_s=start_s)
        writer = SessionWriter(folder, PLAN, live=False, request=request)
        writer.run(0.0, 20.0)
        writer.close()
        assert read(folder).timecode_from == TIMECODE_FROM[origin]
    source = ArraySource(np.zeros((48_000, len(PLAN.tracks)), dtype=np.float32), 48_000)
    source.info = replace(source.info, fields={"take": "3", "scene": "12A", "else": "no"})
    made = with_take(read_session(tmp_path / "stated"), lambda at_s: source)
    assert [*made.fields.items()][-2:] == [("scene", "12A"), ("take", "3")]


def test_timecode_follows_the_log_where_it_differs(tmp_path: Path, writer: SessionWriter) -> None:
    """Where a timecode track was followed, labels count on from the last one in the log."""
    writer.mark("by the time of day", 10.0)
    writer._log.execute(
        "INSERT INTO mark VALUES (NULL, 'by the track', '', 'window', 1, 50.0, 0, 0, '10:00:00:00')"
    )
    writer.close()
    made = read(tmp_path)
    assert made.timecode(10.0) == "21:00:10:00"
    assert made.timecode(62.0) == "10:00:12:00"
    assert made.timecode_from == "the timecode track, else the time of day"


def test_damage_is_named(tmp_path: Path) -> None:
    """A foreign file, none at all, and a session that never began: an error, no report."""
    with pytest.raises(NotALogError):
        read(tmp_path)
    (tmp_path / LOG).write_bytes(b"no log at all" * 100)
    with pytest.raises(NotALogError):
        read(tmp_path)
    empty = SessionWriter(tmp_path / "empty", PLAN)
    empty._log.execute("DELETE FROM session")
    empty.close()
    with pytest.raises(NotALogError):
        read(tmp_path / "empty")


def test_an_incident_that_lasts_ends_with_the_session(
    tmp_path: Path, writer: SessionWriter
) -> None:
    """No end in the log: it lasts to the end of what was watched."""
    writer.incident(incident(end_s=None, severity=Severity.RED))
    writer.close()
    (entry,) = read(tmp_path).entries
    assert entry.lasts
    assert entry.end_s == 200.0


def test_inputs_that_joined_or_left_are_told_and_keep_their_levels(tmp_path: Path) -> None:
    """Each second's levels are of the inputs watched then; a track that left is still reported."""
    writer = SessionWriter(tmp_path, PLAN)
    writer.run(0.0, 20.0)
    writer.inputs(0, [1, 2, 3])
    writer.level(0, [-31.0, -32.0, -33.0])
    writer.inputs(10, [1, 3, 4])
    writer.level(10, [-41.0, -43.0, -44.0])
    writer.close()
    made = read(tmp_path)
    peaks = made.history.sample_peak_dbfs
    assert peaks[0, :3].tolist() == [-31.0, -32.0, -33.0]
    assert np.isnan(peaks[0, 3])
    assert peaks[10, [0, 2, 3]].tolist() == [-41.0, -43.0, -44.0]
    assert np.isnan(peaks[10, 1])
    assert made.honest == (
        "Input 2 was taken out of the plan at 21:00:10:00.",
        "Input 4 was added to the plan at 21:00:10:00.",
    )


def test_what_the_watch_could_not_do_is_in_its_report(
    tmp_path: Path, writer: SessionWriter
) -> None:
    """Each kind once, with when and how often; other amounts are the same kind."""
    writer.problem("hum can't judge: ZeroDivisionError: no frames", 20.0)
    for second in (30.0, 60.0, 85.0):
        writer.problem(f"this computer: so busy ({second:.0f} %) that audio waits", second)
    writer.close()
    assert read(tmp_path).honest == (
        "Hum can't judge: ZeroDivisionError: no frames (at 21:00:20:00).",
        "This computer: so busy (30 %) that audio waits (at 21:00:30:00, "
        "3 times until 21:01:25:00).",
    )

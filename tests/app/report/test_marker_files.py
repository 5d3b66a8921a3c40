"""Markers read back by programs that are not ours, at every rate and over midnight."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import opentimelineio
import pycmx
import pytest
import soundfile
from wavinfo import WavInfoReader

from app.report.marked_copy import write_marked_copies
from app.report.marker_files import write_markers
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.messages import Severity
from engine.report.content.markers import Marker, markers_of
from engine.report.content.report_data import Note, Section
from engine.sources.base import SourceError
from tests.support.sample_report import incident, section
from tests.support.wav_files import bext, chunk, fmt, ixml, pcm16, wav

RATES = ("23.976", "25", "29.97df", "29.97", "30")


def over_midnight(word: str) -> Section:
    """Ten minutes from one second of labels before midnight; a mute from 0.5 to 2.5 s, a mark."""
    rate = FRAME_RATES[word]
    start = Fraction(rate.frames_per_day - rate.labels_per_s) / rate.rate
    muted = incident(onset_s=0.5, end_s=2.5, severity=Severity.RED)
    made = section([muted], marks=(Note(4.0, "slate & <clap>"),))
    return replace(
        made,
        frame_rate=word,
        timecode=lambda at_s: label_at(start + Fraction(at_s).limit_denominator(10**6), rate),
    )


@pytest.fixture(params=RATES)
def take(request: pytest.FixtureRequest) -> Section:
    """That take at each rate."""
    return over_midnight(request.param)


def test_otio_reads_back(take: Section, tmp_path: Path) -> None:
    """By the library: clip, marker ranges in frames of the take, colours and names."""
    write_markers([take], tmp_path)
    timeline = opentimelineio.adapters.read_from_file(str(tmp_path / "tower.otio"))
    (clip,) = timeline.tracks[0]
    rate = FRAME_RATES[take.frame_rate]
    begin = rate.frames_per_day - rate.labels_per_s
    assert clip.source_range.start_time.value == begin
    assert clip.source_range.start_time.rate == pytest.approx(float(rate.rate), abs=1e-4)
    assert timeline.global_start_time == clip.source_range.start_time
    muted, mark = clip.markers
    first = rate.frame(take.timecode(0.5)) + rate.frames_per_day * ("23:" not in take.timecode(0.5))
    assert muted.marked_range.start_time.value == first
    last = muted.marked_range.end_time_exclusive().value % rate.frames_per_day
    assert rate.label(int(last)) == take.timecode_out(2.5)
    assert (muted.color, mark.color) == ("RED", "GREEN")
    assert mark.name == "slate & <clap>"
    assert mark.marked_range.duration.value == 0


def test_edl_reads_back(take: Section, tmp_path: Path) -> None:
    """By pycmx: the event's labels over midnight and how they count; a locator for each marker."""
    write_markers([take], tmp_path)
    text = (tmp_path / "tower.edl").read_text()
    with (tmp_path / "tower.edl").open() as file:
        edits = pycmx.parse_cmx3600(file)
    (event,) = edits.events
    (edit,) = event.edits
    assert edit.source_in == take.timecode(0.0).replace(";", ":") or edit.source_in == (
        take.timecode(0.0)
    )
    assert edit.clip_name == "tower.wav"
    drop = FRAME_RATES[take.frame_rate].drop
    assert ("FCM: DROP FRAME" in text) is drop
    locators = [line.split() for line in text.splitlines() if line.startswith("* LOC:")]
    assert [words[2] for words in locators] == [take.timecode(0.5), take.timecode(4.0)]
    assert [words[3] for words in locators] == ["RED", "GREEN"]


def test_chapters_read_back(tmp_path: Path) -> None:
    """By ffprobe: start and length of each cue, in seconds."""
    write_markers([over_midnight("25")], tmp_path)
    entries = "packet=pts_time,duration_time"
    command = ["ffprobe", "-v", "error", "-show_entries", entries, "-of", "csv=p=0"]
    path = str(tmp_path / "tower.vtt")
    rows = subprocess.run([*command, path], capture_output=True, text=True, check=True).stdout
    times = [tuple(map(float, row.split(",")[:2])) for row in rows.split()]
    assert times == [(0.5, 2.0), (4.0, 1.0)]
    assert "slate &amp; &lt;clap&gt;" in (tmp_path / "tower.vtt").read_text()


def test_several_takes_have_their_own_files_and_those_of_the_day(tmp_path: Path) -> None:
    """Names that collide are told apart; the day has every clip."""
    one = over_midnight("25")
    paths = write_markers([one, one], tmp_path)
    assert sorted(path.name for path in paths) == sorted(
        f"{stem}.{kind}"
        for stem in ("tower", "tower (2)", "day")
        for kind in ("otio", "edl", "vtt")
    )
    day = opentimelineio.adapters.read_from_file(str(tmp_path / "day.otio"))
    assert len(day.tracks[0]) == 2
    with (tmp_path / "day.edl").open() as file:
        assert len(list(pycmx.parse_cmx3600(file).events)) == 2


@pytest.mark.parametrize("name", [b"RIFF", b"RF64"])
def test_a_marked_copy_has_the_same_audio_and_the_markers(tmp_path: Path, name: bytes) -> None:
    """Read by wavinfo and libsndfile; the original stays as it was, byte for byte."""
    path = tmp_path / "take.wav"
    if name == b"RIFF":
        data = chunk(b"data", pcm16(48_000).tobytes())
        path.write_bytes(wav(fmt(2), bext(480), data, ixml("<SCENE>1</SCENE>")))
    else:
        soundfile.write(path, pcm16(48_000), 48_000, "PCM_16", format="RF64")
    before = path.read_bytes()
    markers = markers_of(over_midnight("25"))[:1]
    moment = Marker("slate", 0.25, 0.25, "green")
    (copy,) = write_marked_copies(path, [*markers, moment], tmp_path / "out")
    assert path.read_bytes() == before
    np.testing.assert_array_equal(soundfile.read(copy)[0], soundfile.read(path)[0])
    if name == b"RIFF":
        info = WavInfoReader(str(copy))
        assert info.bext.time_reference == 480
        points = {cue.name: cue.position for cue in info.cues.cues}
        assert list(points.values()) == [24_000, 12_000]
        labels = [label.text for label in info.cues.labels]
        assert labels[1] == "slate"
        assert [ranged.length for ranged in info.cues.ranges] == [24_000, 0]


def test_a_copy_never_touches_the_original(tmp_path: Path) -> None:
    """Its own folder, a link to it, a FLAC and a take with markers are refused."""
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(2), chunk(b"data", pcm16(4_800).tobytes())))
    markers = [Marker("slate", 0.01, 0.02, "green")]
    with pytest.raises(SourceError, match="would be the original"):
        write_marked_copies(path, markers, tmp_path)
    (copy,) = write_marked_copies(path, markers, tmp_path / "out")
    with pytest.raises(SourceError, match="markers of its own"):
        write_marked_copies(copy, markers, tmp_path / "again")
    (tmp_path / "linked").mkdir()
    (tmp_path / "linked" / "take.wav").symlink_to(path)
    with pytest.raises(SourceError, match="would be the original"):
        write_marked_copies(path, markers, tmp_path / "linked")
    soundfile.write(tmp_path / "take.flac", pcm16(4_800), 48_000)
    with pytest.raises(SourceError, match="WAV file only"):
        write_marked_copies(tmp_path / "take.flac", markers, tmp_path / "out")


def test_a_marker_names_a_track_to_use_or_says_that_there_is_none() -> None:
    """'use track 2 …' where a pack covers; 'no backup track' where none is worn, not 'use no …'."""
    said = {
        track: markers_of(section([incident(track=track, severity=Severity.RED)]))[0].comment
        for track in (1, 3)
    }
    assert said == {1: "use track 2 Foreman safety (pack 2)", 3: "no backup track"}

"""A whole take, and its JSON document (CONTRACT.md: `scan --json`)."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from engine.model.early_signs import SignKind
from engine.model.messages import Block, Fault, Incident, Kind, PackLevel, Samples, Severity
from engine.model.tracks import Plan, Track, plan_for
from engine.model.units import amplitude_db
from engine.pipeline.scan import scan_source
from engine.pipeline.scan_document import document
from engine.pipeline.scan_result import ScanResult
from engine.pipeline.sign_records import signs_before
from engine.report.content.from_scan import section_of_scan
from engine.sources.base import SourceError
from engine.sources.synthetic import ArraySource
from tests.support.signals import noise, sine
from tests.support.timecode_signals import code

RATE = 8_000
TAKE_KEYS = [
    *("path", "sample_rate_hz", "duration_s", "start_timecode", "timecode_from"),
    *("timecode_offset", "frame_rate", "user_bits", "notices"),
]
TRACK_KEYS = [
    *("track", "name", "kind", "who", "level"),
    *("integrated_lufs", "momentary_max_lufs", "short_term_max_lufs"),
    *("true_peak_max_dbtp", "sample_peak_max_dbfs", "rms_dbfs"),
    *("noise_floor_dbfs", "present_fraction"),
]
INCIDENT_KEYS = [
    *("track", "fault", "severity", "onset_s", "amber_s", "red_s"),
    *("end_s", "start_timecode", "end_timecode", "covered_by", "detail"),
]
PLAN = Plan(
    (
        Track(1, "Foreman", who="foreman", level=PackLevel.MAIN, receiver="A"),
        Track(2, who="foreman", level=PackLevel.SAFETY, receiver="A"),
        Track(3, kind=Kind.AMBIENCE),
    )
)


def take() -> Samples:
    """Twelve seconds of room; the main mutes from 2.0 to 2.8 s and from 6 s to the end."""
    x = noise(-50.0, 12.0, RATE, tracks=3)
    x[2 * RATE : round(2.8 * RATE), 0] = 0.0
    x[6 * RATE :, 0] = 0.0
    return x


def scan(samples: Samples, plan: Plan = PLAN, rate_hz: int = RATE) -> ScanResult:
    """The result for samples."""
    return scan_source(ArraySource(samples, rate_hz), plan)


@pytest.fixture(scope="module")
def result() -> ScanResult:
    """The result for the take above."""
    return scan(take())


def test_the_document_has_the_promised_keys(result: ScanResult) -> None:
    """Keys, their order and the schema are those of CONTRACT.md, and no others."""
    told = document(result)
    promised = ["kind", "schema", "take", "tracks", "incidents", "marks"]
    promised += ["signs", "pickups", "who", "failed"]
    assert list(told) == promised
    assert (told["kind"], told["schema"]) == ("scan", 2)
    assert list(told["take"]) == TAKE_KEYS
    assert [list(track) for track in told["tracks"]] == [TRACK_KEYS] * 3
    assert [list(incident) for incident in told["incidents"]] == [INCIDENT_KEYS] * 2


def test_it_is_strict_json(result: ScanResult) -> None:
    """The document holds no NaN, no infinity and nothing that JSON does not know."""
    text = json.dumps(document(result), allow_nan=False)
    assert json.loads(text) == document(result)


def test_incidents_as_they_were(result: ScanResult) -> None:
    """Onset, alarm times and end are where they lie in the take, null where not reached."""
    first, second = document(result)["incidents"]
    assert first == {
        "track": 1,
        "fault": "muted",
        "severity": "amber",
        "onset_s": pytest.approx(2.0, abs=0.001),
        "amber_s": pytest.approx(2.5, abs=0.001),
        "red_s": None,
        "end_s": pytest.approx(2.8, abs=0.001),
        "start_timecode": None,
        "end_timecode": None,
        "covered_by": 2,
        "detail": first["detail"],
    }
    assert second["severity"] == "red"
    assert second["red_s"] == pytest.approx(8.0, abs=0.001)
    assert second["end_s"] is None


def test_take_and_tracks_are_named(result: ScanResult) -> None:
    """Tracks go by their input number, a name that is never empty, and null where not planned."""
    told = document(result)
    assert told["take"]["duration_s"] == 12.0
    assert told["take"]["sample_rate_hz"] == RATE
    assert told["take"]["frame_rate"] == "25"
    assert [t["track"] for t in told["tracks"]] == [1, 2, 3]
    assert [t["name"] for t in told["tracks"]] == ["Foreman", "Track 2", "Track 3"]
    assert [t["kind"] for t in told["tracks"]] == ["lav", "lav", "ambience"]
    assert [t["level"] for t in told["tracks"]] == ["main", "safety", None]
    assert [t["who"] for t in told["tracks"]] == ["foreman", "foreman", None]


def test_no_level_is_null() -> None:
    """Digital zero has no level, and a take too short for a measure has no value."""
    track = document(scan(np.zeros((RATE, 1), dtype=np.float32), plan_for([""])))["tracks"][0]
    assert all(track[key] is None for key in TRACK_KEYS[5:12])
    assert track["present_fraction"] == 0.0


def test_a_take_of_one_frame() -> None:
    """One frame is a take: peaks are measured, all else is null, and nothing is raised."""
    told = document(scan(np.full((1, 1), 0.5, dtype=np.float32), plan_for([""])))
    assert told["tracks"][0]["sample_peak_max_dbfs"] == pytest.approx(-6.02)
    assert told["tracks"][0]["integrated_lufs"] is None
    assert told["tracks"][0]["present_fraction"] is None
    assert told["incidents"] == []


def test_levels_have_two_decimals_and_true_values() -> None:
    """A full-scale 997 Hz sine reads 0 dBFS RMS (AES17) and -3.01 LUFS (BS.1770), rounded."""
    told = document(scan(sine(0.0, 5.0, 48_000, hz=997.0), plan_for([""]), 48_000))
    track = told["tracks"][0]
    assert track["integrated_lufs"] == -3.01
    assert track["rms_dbfs"] == 0.0
    assert track["true_peak_max_dbtp"] >= track["sample_peak_max_dbfs"]


def test_timecode_counts_from_the_time_reference() -> None:
    """The file's time reference is the take's start, and incidents count from it."""
    source = ArraySource(take(), RATE)
    source.info = replace(source.info, start_samples=(18 * 3600 + 4 * 60) * RATE)
    told = document(scan_source(source, PLAN))
    assert told["take"]["start_timecode"] == "18:04:00:00"
    assert told["incidents"][0]["start_timecode"] == "18:04:02:00"


def test_timecode_in_the_plans_rate() -> None:
    """Drop-frame labels are those of SMPTE ST 12-1: one minute in is 00:01:00;02 but for tens."""
    one = scan(take(), replace(PLAN, frame_rate="29.97df"))
    assert one.timecode(0.0) == "00:00:00;00"
    assert one.timecode(60.07) == "00:01:00;02"
    assert document(one)["take"]["frame_rate"] == "29.97df"


def test_timecode_of_a_track_comes_before_the_time_reference() -> None:
    """Where a timecode track decodes, labels and their rate are the code's (CONTRACT.md)."""
    rate_hz = 48_000
    x = noise(-50.0, 6.0, rate_hz, tracks=2)
    x[:, 0] = code("24", "21:05:00:00", 144, rate_hz)
    x[3 * rate_hz :, 1] = 0.0
    source = ArraySource(x, rate_hz)
    source.info = replace(source.info, start_samples=0)
    plan = Plan((Track(1, kind=Kind.TIMECODE), Track(2)), frame_rate="24")
    told = document(scan_source(source, plan))
    assert told["take"]["start_timecode"] == "21:05:00:00"
    assert told["take"]["frame_rate"] == "24"
    (muted,) = told["incidents"]
    assert muted["start_timecode"] == "21:05:03:00"


def incident(**changes: object) -> Incident:
    """An amber incident with changes."""
    return replace(Incident(1, 1, Fault.MUTED, Severity.AMBER, 1.0, 1.5), **changes)


def test_red_is_what_makes_exit_1(result: ScanResult) -> None:
    """A scan is red where any incident ever went red, ended or not, and only then."""
    assert result.red
    assert not replace(result, incidents=()).red
    assert not replace(result, incidents=(incident(),)).red
    ended = incident(severity=Severity.RED, red_s=3.0, end_s=4.0)
    assert replace(result, incidents=(incident(), ended)).red


def test_a_cause_lists_its_tracks() -> None:
    """A receiver's incident has no track but lists its own; each part names the receiver."""
    x = take()
    x[6 * RATE :, 1] = 0.0
    found = document(scan(x))["incidents"]
    (cause,) = [i for i in found if i["track"] is None]
    assert list(cause) == [*INCIDENT_KEYS, "tracks"]
    assert cause["tracks"] == [1, 2]
    parts = [i for i in found if "part_of" in i]
    assert [(i["track"], i["part_of"]) for i in parts] == [(1, "A"), (2, "A")]


class Breaks(ArraySource):
    """A take that can't be read to its end, and remembers being closed."""

    closed = False

    def read(self, timeout_s: float) -> Block:
        """The first blocks, then an error."""
        if self._place >= RATE:
            raise SourceError("tower.wav ends early: copy it again")
        return super().read(timeout_s)

    def close(self) -> None:
        """Remember."""
        self.closed = True


def test_a_broken_take_is_closed_and_said() -> None:
    """An error in mid-take reaches the caller, and the source is closed."""
    source = Breaks(take(), RATE)
    with pytest.raises(SourceError, match="copy it again"):
        scan_source(source, PLAN)
    assert source.closed


def test_progress_ends_with_the_take() -> None:
    """Progress is told in seconds of the take, to its very end."""
    told: list[float] = []
    scan_source(ArraySource(take(), RATE, block_frames=999), PLAN, told.append)
    assert told == sorted(told)
    assert math.isclose(told[-1], 12.0)


def test_who_was_covered_and_when_not() -> None:
    """Of each `who` the covered share and the stretches without a good pack, in seconds."""
    x = take()
    x[9 * RATE :, 1] = 0.0
    (who,) = document(scan(x))["who"]
    ((start_s, end_s),) = who["uncovered"]
    assert who["who"] == "foreman"
    assert (start_s, end_s) == pytest.approx((9.0, 12.0), abs=0.1)
    assert who["covered_fraction"] == pytest.approx(0.75, abs=0.01)


def test_the_level_history_is_the_takes() -> None:
    """A column a second with the sample peak of that second, digital zero as no level."""
    x = take()
    history = scan(x).history
    expected = np.abs(x[: 12 * RATE]).reshape(12, RATE, 3).max(axis=1)
    assert history.sample_peak_dbfs == pytest.approx(amplitude_db(expected), abs=1e-3)
    assert history.sample_peak_dbfs[8, 0] == -200.0


def test_early_signs_are_in_the_result_and_come_before_their_incident() -> None:
    """A floor creeps up by 9 dB in two minutes before the track mutes: one sign, of that track,
    told before the incident, in document and report alike."""
    sound = noise(-57.0, 345.0, RATE, tracks=3)
    rise_db = np.interp(np.arange(len(sound)) / RATE, (195.0, 315.0), (0.0, 9.0))
    sound[:, 2] *= (10.0 ** (rise_db / 20.0)).astype(np.float32)
    sound[335 * RATE :, 2] = 0.0
    result = scan(sound)
    (sign,) = result.signs
    (muted,) = (one for one in result.incidents if one.fault is Fault.MUTED)
    assert (sign.kind, sign.tracks, sign.until_s) == (SignKind.NOISE_FLOOR, (3,), None)
    assert 195.0 < sign.told_s < muted.onset_s
    assert signs_before(muted, result.signs) == (sign,)
    (listed,) = document(result)["signs"]
    assert (listed["kind"], listed["tracks"]) == ("noise floor", [3])
    section = section_of_scan(result)
    assert [e.signs for e in section.entries if e.incident == muted] == [(sign,)]

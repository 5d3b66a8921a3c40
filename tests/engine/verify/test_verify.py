"""Takes against a session, from files and a log to findings."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from engine.model.commands import Standby
from engine.report.formats.html_page import page
from engine.sources.base import SourceError
from engine.verify.result import Difference, Verification
from engine.verify.verify import verify
from engine.verify.verify_page import blocks, heading
from engine.verify.watched_session import Session, read_session
from tests.support.verify_signals import PLAN, RATE, night, recorded, write_session, write_take

BEGIN_S, END_S = 20.0, 80.0
Change = Callable[[np.ndarray], np.ndarray]


@pytest.fixture(scope="module")
def sound() -> np.ndarray:
    """A hundred seconds."""
    return night(100.0)


@pytest.fixture(scope="module")
def session(sound: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> Session:
    """A watch that rolled from 20 to 80 s."""
    folder = tmp_path_factory.mktemp("session")
    writer = write_session(folder, sound)
    writer.action(Standby(True), 0.0)
    writer.action(Standby(False), BEGIN_S)
    writer.action(Standby(True), END_S)
    writer.close()
    return read_session(folder)


def check(session: Session, tmp_path: Path, take: np.ndarray, rate: int = RATE) -> Verification:
    """What is found of that take."""
    return verify(session, [write_take(tmp_path / "bell01.wav", take, rate)])


def wrong(result: Verification) -> list[Difference]:
    """What is missing or differs."""
    return [finding.what for finding in result.all_findings if finding.is_wrong]


def test_a_clean_take_of_all_that_rolled_is_complete(
    session: Session, sound: np.ndarray, tmp_path: Path
) -> None:
    """Nothing is told of a recorder with gains, noise and a clock of its own."""
    result = check(session, tmp_path, recorded(sound, BEGIN_S, END_S, ppm=30.0))
    assert wrong(result) == []
    assert result.complete
    assert heading(result) == "Complete"


def _set(column: int, part: slice, of: Change) -> Change:
    def change(take: np.ndarray) -> np.ndarray:
        made = take.copy()
        made[part, column] = of(made[part])
        return made

    return change


EVER = slice(None)
PLANTED = [
    pytest.param(
        _set(2, EVER, lambda x: 0.0 * x[:, 2]), Difference.NOT_RECORDED, 3, id="not armed"
    ),
    pytest.param(_set(5, EVER, lambda x: x[:, 2]), Difference.DOUBLED, 6, id="doubled"),
    pytest.param(lambda x: x[:, [0, 1, 3, 2, 4, 5]], Difference.OTHER_CHANNEL, 3, id="exchanged"),
    pytest.param(lambda x: np.roll(x, 1, axis=1), Difference.OTHER_CHANNEL, None, id="moved"),
    pytest.param(_set(3, EVER, lambda x: 0.5 * x[:, 3]), Difference.GAIN, 4, id="6 dB down"),
    pytest.param(
        _set(2, slice(25 * RATE, 30 * RATE), lambda x: 0.0 * x[:, 2]),
        Difference.FAULT_IN_FILE,
        3,
        id="muted after the split",
    ),
    pytest.param(
        lambda x: np.concatenate([x[: 30 * RATE], x[int(30.2 * RATE) :]]),
        Difference.GAP,
        None,
        id="gap of 200 ms",
    ),
    pytest.param(
        lambda x: np.concatenate([x[: 30 * RATE], x[29 * RATE :]]),
        Difference.REPEAT,
        None,
        id="repeat of 1 s",
    ),
    pytest.param(lambda x: x[: 30 * RATE], Difference.NOT_TAKEN, None, id="too short"),
]


@pytest.mark.parametrize(("change", "what", "track"), PLANTED)
def test_what_was_planted_is_named(
    session: Session,
    sound: np.ndarray,
    tmp_path: Path,
    change: Change,
    what: Difference,
    track: int | None,
) -> None:
    """Each error is told by its name and on its track."""
    result = check(session, tmp_path, change(recorded(sound, BEGIN_S, END_S)))
    told = [f for f in result.all_findings if f.is_wrong]
    assert what in {f.what for f in told}
    assert track in {f.track for f in told if f.what is what}
    assert not result.complete
    html = page(heading(result), blocks(result))
    assert "Not complete" in html


@pytest.mark.parametrize("kept_from_s", [29.0, 30.2])
def test_where_a_file_skips_is_told_whatever_the_gain(
    session: Session, sound: np.ndarray, tmp_path: Path, kept_from_s: float
) -> None:
    """A recorder that is set 5 dB lower: the moment is right to a fifth of a second too."""
    take = 10 ** (-5.0 / 20.0) * recorded(sound, BEGIN_S, END_S)
    skips = np.concatenate([take[: 30 * RATE], take[int(kept_from_s * RATE) :]])
    (finding,) = (
        f
        for f in check(session, tmp_path, skips).all_findings
        if f.what in {Difference.GAP, Difference.REPEAT}
    )
    assert finding.from_s == pytest.approx(BEGIN_S + min(kept_from_s, 30.0), abs=0.2)


def test_another_nights_card_is_told(session: Session, tmp_path: Path) -> None:
    """Its take is in no stretch of the session, and all of the session is missing."""
    result = check(session, tmp_path, night(60.0, seed=9))
    assert set(wrong(result)) == {Difference.NOT_IN_SESSION, Difference.NOT_TAKEN}


def test_a_wrong_rate_in_the_header_is_told(
    session: Session, sound: np.ndarray, tmp_path: Path
) -> None:
    """Recorded at 48 kHz, stated as 44.1 kHz."""
    result = check(session, tmp_path, recorded(sound, BEGIN_S, END_S), rate=44_100)
    assert wrong(result) == [Difference.SAMPLE_RATE]


@pytest.mark.parametrize("rate", [48_048, 47_952])
def test_a_pulled_clock_is_told(
    session: Session, sound: np.ndarray, tmp_path: Path, rate: int
) -> None:
    """A thousandth fast or slow, as between film and 59.94 Hz video, and all tracks in place."""
    result = check(session, tmp_path, recorded(sound, BEGIN_S, END_S), rate=rate)
    assert wrong(result) == [Difference.SAMPLE_RATE]


def test_what_cannot_be_read_is_named_and_the_rest_goes_on(
    session: Session, sound: np.ndarray, tmp_path: Path
) -> None:
    """A torn file is one line; the other take is still found complete."""
    (tmp_path / "torn.wav").write_bytes(b"RIFF\0\0\0\0WAVE")
    write_take(tmp_path / "bell01.wav", recorded(sound, BEGIN_S, END_S))
    result = verify(session, [tmp_path])
    ((path, reason),) = result.failed
    assert path == str(tmp_path / "torn.wav")
    assert path not in reason
    assert len(result.takes) == 1
    assert not result.complete


def test_an_older_session_works_by_seconds(sound: np.ndarray, tmp_path: Path) -> None:
    """Without the fine levels a take is still placed, to about a second, and that is said."""
    writer = write_session(tmp_path / "old", sound)
    writer._log.execute("DELETE FROM envelope")
    writer.close()
    old = read_session(tmp_path / "old")
    result = check(old, tmp_path, recorded(sound, BEGIN_S, END_S))
    (take,) = result.takes
    assert result.coarse
    assert not [f for f in take.findings if f.what is Difference.TIMECODE]  # not known that well
    assert take.course is not None
    assert take.course.start_s == pytest.approx(BEGIN_S, abs=1.5)


def test_a_session_that_never_began_is_one_line(tmp_path: Path) -> None:
    """There is nothing to hold a take against."""
    writer = write_session(tmp_path, np.zeros((RATE, len(PLAN.tracks))))
    writer._log.execute("DELETE FROM session")
    writer.close()
    with pytest.raises(SourceError, match="never began"):
        read_session(tmp_path)


def test_the_document_names_each_finding(
    session: Session, sound: np.ndarray, tmp_path: Path
) -> None:
    """The JSON has the verdict, each take's place and each finding with its timecode."""
    document = check(session, tmp_path, recorded(sound, BEGIN_S, 60.0)).as_json()
    assert document["complete"] is False
    (take,) = document["takes"]
    assert take["start_s"] == pytest.approx(BEGIN_S, abs=0.02)
    (missing,) = [f for f in document["findings"] if f["what"] == "not taken"]
    assert missing["from_s"] == pytest.approx(60.0, abs=0.1)
    assert missing["until_timecode"] == "21:01:20:00"

"""The files of a card: what is whole, what is like its fellows, what can't be looked at."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.sources.sound_file import WavFile
from engine.sources.take import open_take
from engine.verify import verify as verifying
from engine.verify.card import file_findings, is_gone, takes_of, word_of
from engine.verify.compare_take import verify_take
from engine.verify.result import Difference, TakeResult
from engine.verify.verify import verify
from engine.verify.verify_page import blocks, heading
from engine.verify.watched_session import Session, read_session
from tests.support.verify_signals import night, recorded, write_session, write_take

SECONDS = 24.0


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """A short watch."""
    folder = tmp_path_factory.mktemp("session")
    write_session(folder, night(3 * SECONDS)).close()
    return read_session(folder)


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A folder of three takes of eight seconds."""
    sound = night(3 * SECONDS)
    for n in range(3):
        write_take(tmp_path / f"bell0{n + 1}.wav", recorded(sound, 8.0 * n, 8.0 * n + 8.0))
    return tmp_path


def form(path: Path) -> tuple[object, str]:
    """Info and word length."""
    source = open_take(path, read_ahead=0)
    source.close()
    return source.info, word_of(path)


@pytest.mark.parametrize(
    ("rate", "channels", "subtype", "text"),
    [
        (44_100, 2, "PCM_24", "44100 Hz, the other takes 48000 Hz"),
        (48_000, 1, "PCM_24", "1 channels, the other takes 2 channels"),
        (48_000, 2, "PCM_16", "Signed 16 bit PCM, the other takes Signed 24 bit PCM"),
    ],
)
def test_a_take_unlike_its_fellows_is_told(
    tmp_path: Path, rate: int, channels: int, subtype: str, text: str
) -> None:
    """Another rate, number of channels or word length than most takes of the card have."""
    for n in range(2):
        soundfile.write(tmp_path / f"{n}.wav", np.zeros((4800, 2)), 48_000, subtype="PCM_24")
    odd = tmp_path / "odd.wav"
    soundfile.write(odd, np.zeros((4800, channels)), rate, subtype=subtype)
    forms = [form(path) for path in sorted(tmp_path.iterdir())]
    findings = [file_findings("", *one, forms) for one in forms]
    assert [[f.text for f in of] for of in findings] == [[], [], [text]]


@pytest.mark.parametrize("harm", ["torn", "short", "gone"])
def test_a_mono_file_that_is_not_whole_leaves_its_take(
    tmp_path: Path, session: Session, harm: str
) -> None:
    """The others of its take are held against the session; its own track is what is missing."""
    sound = recorded(night(3 * SECONDS), 0.0, 3 * SECONDS)
    for n in range(sound.shape[1]):
        write_take(tmp_path / f"bell01_{n + 1}.wav", sound[:, n : n + 1])
    bad = tmp_path / "bell01_3.wav"
    whole = bad.read_bytes()
    if harm == "torn":
        bad.write_bytes(bytes(44) + whole[44:90_000])
    elif harm == "gone":
        bad.write_bytes(b"")
    else:
        write_take(bad, sound[: len(sound) // 2, 2:3])
    result = verify(session, [tmp_path])
    assert [path for path, _ in result.failed] == [str(bad)]
    (take,) = result.takes
    assert take.scan.info.channels == sound.shape[1]
    assert {finding.track for finding in take.findings if finding.is_wrong} == {3}
    assert not result.complete


def test_a_read_only_card_is_listed_and_left_as_it_was(card: Path, session: Session) -> None:
    """Nothing is written: the same files, of the same time, in a folder nobody may write to."""
    before = {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in card.iterdir()}
    for path in (*before, card):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        result = verify(session, [card])
        assert len(result.takes) == 3
        assert {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in card.iterdir()} == before
    finally:
        card.chmod(0o755)


def test_a_folder_that_cannot_be_listed_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The card answers with an input error for one folder; the other is looked through."""
    write_take(tmp_path / "bell01.wav", np.zeros((48_000, 2)))
    (tmp_path / "bad").mkdir()
    scandir: Callable[..., object] = os.scandir

    def failing(path: object = ".") -> object:
        if str(path).endswith("bad"):
            raise OSError(errno.EIO, "Input/output error", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", failing)
    takes, failed = takes_of([tmp_path])
    assert len(takes) == 1
    assert failed == [(str(tmp_path / "bad"), "can't be listed (Input/output error): card pulled?")]


def test_a_card_pulled_in_the_middle_is_one_line_and_the_rest_of_the_result(
    card: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From its second take on it is gone: the first is judged, the others are one line."""

    def pulled(heard: Session, path: Path, progress: Callable[[float], None]) -> TakeResult:
        result = verify_take(heard, path, progress)
        for left in card.iterdir():
            left.unlink()
        card.rmdir()
        return result

    monkeypatch.setattr(verifying, "verify_take", pulled)
    result = verify(session, [card])
    assert len(result.takes) == 1
    assert len(result.failed) == 1
    path, reason = result.failed[0]
    assert path.endswith("bell02")
    assert reason == "gone while it was read: card pulled? 1 more take not read"
    missing = [f for f in result.findings if f.what is Difference.NOT_TAKEN]
    assert missing
    assert all("in no take read" in finding.text for finding in missing)
    assert heading(result) == "Not complete"
    assert list(blocks(result))


def test_a_card_that_fails_while_a_take_is_read_is_one_line(
    card: Path, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An input error in the middle of a file, and from then on everywhere."""
    read_into = WavFile.read_into
    stat = Path.stat
    dead = False

    def failing(self: WavFile, by_channel: np.ndarray, at_frame: int) -> None:
        nonlocal dead
        if self.path.name == "bell02.wav" and at_frame > 48_000:
            dead = True
        if dead:
            raise OSError(errno.EIO, "Input/output error")
        read_into(self, by_channel, at_frame)

    def no_stat(self: Path, **how: bool) -> os.stat_result:
        if dead and self.parent == card:
            raise OSError(errno.EIO, "Input/output error")
        return stat(self, **how)

    monkeypatch.setattr(WavFile, "read_into", failing)
    monkeypatch.setattr(Path, "stat", no_stat)
    result = verify(session, [card])
    assert [take.path for take in result.takes] == [str(card / "bell01")]
    assert [Path(path).name for path, _ in result.failed] == ["bell02"]
    assert "card pulled?" in result.failed[0][1]


@pytest.mark.parametrize("name", ["bell01.wav", "bell03.wav"])
def test_a_damaged_take_leaves_the_other_ones(card: Path, session: Session, name: str) -> None:
    """A file with nothing after its header is a line of its own, not a pulled card."""
    (card / name).write_bytes(b"RIFF\0\0\0\0WAVE")
    result = verify(session, [card])
    assert [Path(path).name for path, _ in result.failed] == [name]
    assert "pulled" not in result.failed[0][1]
    assert len(result.takes) == 2
    assert not is_gone(card / name)

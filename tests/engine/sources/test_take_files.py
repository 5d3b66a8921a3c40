"""Files of one take: tracks side by side, parts one after the other, takes apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from engine.sources.base import SourceError
from engine.sources.take import open_take
from engine.sources.take_files import Take, files_of, takes_in
from tests.support.wav_files import bext, chunk, fmt, ixml, wav

RATE = 48_000
HOUR = 3600 * RATE


def write(
    folder: Path,
    name: str,
    level: int = 0,
    frames: int = 100,
    start: int | None = None,
    xml: str = "",
    channels: int = 1,
) -> Path:
    """A file of one constant sample a channel: `level`, `level` + 1 and so on."""
    row = np.arange(level, level + channels, dtype="<i2")
    chunks = [fmt(channels), chunk(b"data", np.tile(row, (frames, 1)).tobytes())]
    if start is not None:
        chunks.append(bext(start))
    if xml:
        chunks.append(ixml(xml))
    path = folder / f"{name}.wav"
    path.write_bytes(wav(*chunks))
    return path


def levels(take: Take) -> list[list[int]]:
    """Each run of equal samples of the take, in order."""
    source = open_take(take, block_frames=100_000, read_ahead=0)
    block = source.read(1.0)
    source.close()
    assert block is not None
    codes = np.rint(block.samples * 2.0**15).astype(int)
    changed = np.flatnonzero(np.any(np.diff(codes, axis=0), axis=1)) + 1
    return codes[np.concatenate(([0], changed))].tolist()


def names(take: Path) -> tuple[str, ...]:
    """The take's channel names."""
    source = open_take(take, read_ahead=0)
    source.close()
    return source.info.channel_names


def test_tracks_run_in_natural_order(tmp_path: Path) -> None:
    """T03_2 comes before T03_10, and a track without a name has its file's."""
    for n in (1, 10, 11, 12, *range(2, 10)):
        write(tmp_path, f"T03_{n}", n)
    assert levels(tmp_path) == [list(range(1, 13))]
    assert names(tmp_path)[9] == "T03_10"


def test_channel_index_goes_before_names(tmp_path: Path) -> None:
    """CHANNEL_INDEX of iXML orders mono files, and its NAME names them."""
    for name, index in (("a", 3), ("b", 1), ("c", 2)):
        track = f"<TRACK><CHANNEL_INDEX>{index}</CHANNEL_INDEX><NAME>mic {index}</NAME></TRACK>"
        write(tmp_path, name, index, xml=f"<TRACK_LIST>{track}</TRACK_LIST>")
    assert levels(tmp_path) == [[1, 2, 3]]
    assert names(tmp_path) == ("mic 1", "mic 2", "mic 3")


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("start", [None, HOUR])
def test_parts_are_one_take(tmp_path: Path, channels: int, start: int | None) -> None:
    """T03_001, T03_002: one after the other, by time references or else by their names."""
    for part in range(3):
        at = None if start is None else start + 100 * part
        frames = 100 if part < 2 else 60
        write(tmp_path, f"T03_00{part + 1}", 10 * part, frames, at, channels=channels)
    assert levels(tmp_path) == [[10 * part + c for c in range(channels)] for part in range(3)]
    source = open_take(tmp_path, read_ahead=0)
    source.close()
    assert (source.info.frames, source.info.start_samples) == (260, start)
    assert "T03_001.wav, T03_002.wav, T03_003.wav" in source.info.notices[0]


@pytest.mark.parametrize("start", [None, HOUR])
def test_parts_of_mono_files_keep_their_tracks(tmp_path: Path, start: int | None) -> None:
    """T03_1_001, T03_1_002, T03_2_001, …: two tracks in two parts."""
    for track in (1, 2):
        for part in (1, 2):
            at = None if start is None else start + 100 * (part - 1)
            write(tmp_path, f"T03_{track}_00{part}", 10 * part + track, start=at)
    assert levels(tmp_path) == [[11, 12], [21, 22]]


def test_a_part_may_go_on_over_midnight(tmp_path: Path) -> None:
    """The second part starts at 0 where the first ended at 24 hours."""
    write(tmp_path, "T_001", 1, start=24 * HOUR - 100)
    write(tmp_path, "T_002", 2, start=0)
    write(tmp_path, "U_001", 5, start=HOUR)
    over_midnight, other = takes_in(tmp_path)
    assert (len(over_midnight.parts), len(other.parts)) == (2, 1)
    assert levels(over_midnight.path) == [[1], [2]]


def test_a_file_named_alone_is_read_with_what_goes_on_from_it(tmp_path: Path) -> None:
    """Naming the first part reads the take; naming the second, from there on."""
    first = write(tmp_path, "T03_001", 1, start=HOUR)
    second = write(tmp_path, "T03_002", 2, start=HOUR + 100)
    write(tmp_path, "T03_003", 3, start=2 * HOUR)
    assert levels(first) == [[1], [2]]
    assert levels(second) == [[2]]


def test_two_takes_in_one_folder_are_two(tmp_path: Path) -> None:
    """T03_1 to T03_4 and T04_1 to T04_4 are two takes of four tracks, each to be named."""
    for take in (3, 4):
        for track in range(1, 5):
            write(tmp_path, f"T0{take}_{track}", 10 * take + track)
    assert [take.name for take in takes_in(tmp_path)] == ["T03", "T04"]
    assert levels(tmp_path / "T04") == [[41, 42, 43, 44]]
    with pytest.raises(SourceError, match=r"holds 2 takes, T03, T04: name one"):
        files_of(tmp_path)


def test_takes_are_told_apart_by_what_the_files_say(tmp_path: Path) -> None:
    """Other starts, other scenes or another family: another take, whatever the names."""
    for n, start in enumerate((HOUR, HOUR, 2 * HOUR, 2 * HOUR)):
        write(tmp_path, f"mic {n}", n, start=start)
    assert [len(take.chains) for take in takes_in(tmp_path)] == [2, 2]
    other = tmp_path / "by scene"
    other.mkdir()
    for n, take in enumerate((1, 1, 2, 2)):
        write(other, f"mic {n}", n, xml=f"<SCENE>12</SCENE><TAKE>{take}</TAKE>")
    assert [len(take.chains) for take in takes_in(other)] == [2, 2]


def test_packs_of_one_take_are_no_two_takes(tmp_path: Path) -> None:
    """PACK1_MAIN, PACK1_SAFETY, PACK2_MAIN, PACK2_SAFETY are four tracks."""
    for n, name in enumerate(("PACK1_MAIN", "PACK1_SAFETY", "PACK2_MAIN", "PACK2_SAFETY")):
        write(tmp_path, name, n)
    assert levels(tmp_path) == [[0, 1, 2, 3]]


def test_a_damaged_track_is_silent_where_that_is_asked_for(tmp_path: Path) -> None:
    """Refused as it is; else silence in its place, and as long as those beside it."""
    for n in (1, 2, 3):
        write(tmp_path, f"T03_{n}", level=10 * n)
    (tmp_path / "T03_2.wav").write_bytes(b"no sound")
    with pytest.raises(SourceError, match="T03_2"):
        takes_in(tmp_path)
    (take,) = takes_in(tmp_path, damaged=True)
    assert [path.name for path, _ in take.damage] == ["T03_2.wav"]
    assert levels(take) == [[10, 0, 30]]
    write(tmp_path, "T03_2", level=20, frames=40)
    (take,) = takes_in(tmp_path, damaged=True)
    assert levels(take) == [[10, 20, 30], [10, 0, 30]]


def test_a_damaged_file_of_no_take_of_mono_files_is_refused(tmp_path: Path) -> None:
    """Of which take it would be a track nobody can say."""
    for n in (1, 2):
        write(tmp_path, f"T03_{n}")
    (tmp_path / "T04.wav").write_bytes(b"no sound")
    with pytest.raises(SourceError, match="T04"):
        takes_in(tmp_path, damaged=True)


def test_files_of_several_channels_are_takes_of_their_own(tmp_path: Path) -> None:
    """Takes with one file each, told apart by start, or where none is stated by name."""
    write(tmp_path, "T01", 1, 100, HOUR, channels=2)
    write(tmp_path, "T02", 3, 60, 2 * HOUR, channels=2)
    assert [take.name for take in takes_in(tmp_path)] == ["T01", "T02"]
    assert levels(tmp_path / "T02.wav") == [[3, 4]]


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """What is no file and no take in a folder is refused by its own name."""
    write(tmp_path, "T03_1")
    with pytest.raises(SourceError, match=r"none\.wav"):
        files_of(tmp_path / "none.wav")

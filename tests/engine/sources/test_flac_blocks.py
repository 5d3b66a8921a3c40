"""Metadata of FLAC files: chunks that the reference encoder kept, and comments."""

from __future__ import annotations

import io
import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.sources.flac_blocks import read_flac_blocks
from engine.sources.take import open_take
from tests.support.wav_files import bext, chunk, fmt, ixml, pcm16, track_list, wav

START = 18 * 3600 * 48_000 + 9


def info_of(path: Path):
    """What the take says of itself."""
    source = open_take(path, read_ahead=0)
    source.close()
    return source.info


def test_foreign_metadata_of_the_reference_encoder(tmp_path: Path) -> None:
    """`flac --keep-foreign-metadata` keeps bext and iXML: names, start and scene are read."""
    path = tmp_path / "take.wav"
    xml = ixml(track_list((1, "Boom"), (2, "Lav")) + "<SCENE>12</SCENE>")
    path.write_bytes(wav(fmt(2), bext(START), xml, chunk(b"data", pcm16(4_800).tobytes())))
    command = ["flac", "-s", "--keep-foreign-metadata", str(path), "-o", str(tmp_path / "t.flac")]
    subprocess.run(command, check=True, timeout=60)
    info = info_of(tmp_path / "t.flac")
    assert (info.start_samples, info.channel_names) == (START, ("Boom", "Lav"))
    assert info.fields["scene"] == "12"


def test_comments_by_another_writer(tmp_path: Path) -> None:
    """What ffmpeg makes of a bext chunk, and a title for a track: start, date and name."""
    path = tmp_path / "take.wav"
    path.write_bytes(wav(fmt(1), bext(START), chunk(b"data", pcm16(4_800, 1).tobytes())))
    command = ["ffmpeg", "-v", "error", "-i", str(path), "-metadata", "title=Boom"]
    subprocess.run([*command, str(tmp_path / "t.flac")], check=True, timeout=60)
    info = info_of(tmp_path / "t.flac")
    assert (info.start_samples, info.channel_names) == (START, ("Boom",))
    assert info.fields["date"] == "2026-06-01"


@given(st.binary(max_size=200))
def test_no_content_raises(body: bytes) -> None:
    """Whatever stands in the blocks, they are read or left out."""
    read_flac_blocks(io.BytesIO(b"fLaC\x84" + len(body).to_bytes(3, "big") + body))
    read_flac_blocks(io.BytesIO(b"fLaC" + body))


@pytest.mark.parametrize("name", ["TIME_REFERENCE", "time_reference"])
def test_names_of_comments_know_no_case(name: str) -> None:
    """RFC 9639 8.6: field names are compared without case."""
    text = f"{name}=5".encode()
    block = (0).to_bytes(4, "little") + (1).to_bytes(4, "little")
    block += len(text).to_bytes(4, "little") + text
    file = io.BytesIO(b"fLaC\x84" + len(block).to_bytes(3, "big") + block)
    assert read_flac_blocks(file).comments == {"time_reference": "5"}

"""Forms of takes by other writers: each is read as others read it, or refused in one line."""

from __future__ import annotations

import shutil
import struct
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from engine.sources.base import EndOfTake, SourceError
from engine.sources.take import open_take
from tests.support.wav_files import bext, chunk, fmt, ixml, pcm16, wav

RATE = 48_000
FRAMES = 4_801
Make = Callable[[Path], Path]


def samples(take: Path) -> np.ndarray:
    """Every sample of the take as we read it, shape (frames, channels)."""
    source = open_take(take, read_ahead=0)
    blocks = []
    try:
        while True:
            block = source.read(1.0)
            assert block is not None
            blocks.append(block.samples)
    except EndOfTake:
        return np.concatenate(blocks)
    finally:
        source.close()


def run(*command: object) -> None:
    """Another program."""
    subprocess.run(list(map(str, command)), check=True, timeout=60, capture_output=True)


def plain(folder: Path, channels: int = 2, rate: int = RATE, subtype: str = "PCM_24") -> Path:
    """A WAV file by libsndfile, for others to make theirs of."""
    noise = np.random.default_rng(channels).uniform(-0.9, 0.9, (FRAMES, channels))
    path = folder / "plain.wav"
    soundfile.write(path, noise, rate, subtype)
    return path


def by_ffmpeg(name: str, *options: str, channels: int = 2) -> Make:
    """ffmpeg's form of the plain file."""

    def make(folder: Path) -> Path:
        made = folder / name
        run("ffmpeg", "-v", "error", "-y", "-i", plain(folder, channels), *options, made)
        return made

    return make


def by_sox(name: str, *options: str, channels: int = 2) -> Make:
    """sox's form of the plain file, without dither."""

    def make(folder: Path) -> Path:
        run("sox", "-D", plain(folder, channels), *options, folder / name)
        return folder / name

    return make


def by_flac(*options: str, channels: int = 2) -> Make:
    """The FLAC reference encoder's form of the plain file."""

    def make(folder: Path) -> Path:
        made = folder / "take.flac"
        run("flac", "-s", "-f", *options, plain(folder, channels), "-o", made)
        return made

    return make


def by_libsndfile(container: str, subtype: str, channels: int = 2, rate: int = RATE) -> Make:
    """libsndfile's form of noise."""

    def make(folder: Path) -> Path:
        noise = np.random.default_rng(7).uniform(-0.9, 0.9, (FRAMES, channels))
        suffix = "flac" if container == "FLAC" else "wav"
        soundfile.write(folder / f"take.{suffix}", noise, rate, subtype, format=container)
        return folder / f"take.{suffix}"

    return make


DATA = chunk(b"data", pcm16(FRAMES).tobytes())
HAND_MADE = {
    "chunks before": wav(chunk(b"JUNK", bytes(1000)), bext(5), fmt(), DATA),
    "chunks after": wav(fmt(), DATA, bext(5), ixml("<SCENE>1</SCENE>"), chunk(b"PAD ", bytes(9))),
    "odd chunk": wav(chunk(b"odd ", bytes(7)), fmt(), DATA),
    "list chunk": wav(fmt(), chunk(b"LIST", b"INFOISFT\x04\0\0\0test"), DATA),
    "999 zeros inside": wav(fmt(), DATA + bytes(999)),
    "3 s of zeros after": wav(fmt(), DATA) + bytes(3 * 4 * RATE),
    "a byte after": wav(fmt(), DATA) + b"\0",
    "fact chunk": wav(fmt(), chunk(b"fact", struct.pack("<I", FRAMES)), DATA),
    "long fmt": wav(chunk(b"fmt ", fmt()[8:] + b"\0\0"), DATA),
    "aligned by JUNK": wav(chunk(b"JUNK", bytes(4096 - 12 - 8 - 24 - 8)), fmt(), DATA),
    "cue points": wav(fmt(), DATA, chunk(b"cue ", struct.pack("<I", 0))),
}


def by_hand(name: str) -> Make:
    """A file made of chunks."""

    def make(folder: Path) -> Path:
        (folder / "take.wav").write_bytes(HAND_MADE[name])
        return folder / "take.wav"

    return make


READ: dict[str, Make] = {
    **{
        f"ffmpeg {codec}": by_ffmpeg("take.wav", "-c:a", codec)
        for codec in (*("pcm_u8", "pcm_s16le", "pcm_s24le", "pcm_s32le", "pcm_f32le", "pcm_f64le"),)
    },
    "ffmpeg rf64": by_ffmpeg("take.wav", "-rf64", "always", "-c:a", "pcm_s24le"),
    "ffmpeg bext": by_ffmpeg("take.wav", "-write_bext", "1", "-c:a", "pcm_s24le"),
    "ffmpeg bitexact": by_ffmpeg("take.wav", "-bitexact", "-c:a", "pcm_s16le"),
    "ffmpeg mono": by_ffmpeg("take.wav", channels=1),
    "ffmpeg 8 channels": by_ffmpeg("take.wav", "-c:a", "pcm_s24le", channels=8),
    "ffmpeg 44.1 kHz": by_ffmpeg("take.wav", "-ar", "44100"),
    "ffmpeg 96 kHz": by_ffmpeg("take.wav", "-ar", "96000", "-c:a", "pcm_s24le"),
    "ffmpeg flac": by_ffmpeg("take.flac"),
    "ffmpeg flac 24": by_ffmpeg("take.flac", "-sample_fmt", "s32"),
    "ffmpeg flac 6 channels": by_ffmpeg("take.flac", channels=6),
    "ffmpeg tags": by_ffmpeg("take.wav", "-metadata", "title=Night", "-metadata", "comment=x"),
    **{f"sox {bits} bit": by_sox("take.wav", "-b", bits) for bits in ("8", "16", "24", "32")},
    "sox float": by_sox("take.wav", "-e", "floating-point", "-b", "32"),
    "sox double": by_sox("take.wav", "-e", "floating-point", "-b", "64"),
    "sox 7 channels": by_sox("take.wav", channels=7),
    "sox flac": by_sox("take.flac", "-b", "24"),
    "sox flac level 0": by_sox("take.flac", "-C", "0"),
    "flac": by_flac(),
    "flac fast": by_flac("-0"),
    "flac best": by_flac("-8"),
    "flac foreign metadata": by_flac("--keep-foreign-metadata"),
    "flac no padding": by_flac("--no-padding"),
    "flac no seektable": by_flac("--no-seektable"),
    "flac 8 channels": by_flac("--channel-map=none", channels=8),
    "flac tagged": by_flac("--tag=TITLE=Boom"),
    **{
        f"libsndfile {container} {subtype}": by_libsndfile(container, subtype)
        for container, subtype in (
            *((("WAV", s)) for s in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")),
            *((("WAVEX", s)) for s in ("PCM_16", "PCM_24", "FLOAT")),
            *((("RF64", s)) for s in ("PCM_16", "PCM_24", "FLOAT")),
            *((("FLAC", s)) for s in ("PCM_16", "PCM_24")),
        )
    },
    "libsndfile 32 channels": by_libsndfile("WAV", "PCM_24", 32),
    "libsndfile 192 kHz": by_libsndfile("WAV", "PCM_24", 1, 192_000),
    **{f"by hand: {name}": by_hand(name) for name in HAND_MADE},
}

REFUSED: dict[str, tuple[Make, str]] = {
    "mp3": (by_ffmpeg("take.mp3"), "MP3"),
    "aac": (by_ffmpeg("take.aac"), "AAC"),
    "m4a": (by_ffmpeg("take.m4a"), "MP4"),
    "ogg": (by_ffmpeg("take.ogg", "-c:a", "flac"), "Ogg"),
    "aiff": (by_ffmpeg("take.aiff"), "AIFF"),
    "aiff by sox": (by_sox("take.aif"), "AIFF"),
    "caf": (by_ffmpeg("take.caf"), "CAF"),
    "w64": (by_ffmpeg("take.w64"), "W64"),
    "au": (by_sox("take.au"), "AU"),
    "matroska": (by_ffmpeg("take.mka"), "Matroska"),
    "aiff named wav": (lambda f: by_ffmpeg("x.aiff")(f).rename(f / "take.wav"), "AIFF"),
    "mp3 named wav": (lambda f: by_ffmpeg("x.mp3")(f).rename(f / "take.wav"), "MP3"),
    "adpcm in wav": (by_ffmpeg("take.wav", "-c:a", "adpcm_ms"), "convert"),
    "mp3 in wav": (by_ffmpeg("take.wav", "-c:a", "mp3"), "convert"),
    "a-law in wav": (by_sox("take.wav", "-e", "a-law"), "convert"),
    "big-endian RIFX": (by_sox("take.wav", "-B"), "WAV"),
}


def reference(take: Path) -> np.ndarray:
    """The same by libsndfile."""
    return soundfile.read(take, dtype="float32", always_2d=True)[0]


@pytest.mark.parametrize("form", READ)
def test_read_as_libsndfile_reads_it(form: str, tmp_path: Path) -> None:
    """Every sample is the same, and there is not one more."""
    take = READ[form](tmp_path)
    np.testing.assert_array_equal(samples(take), reference(take))


@pytest.mark.parametrize("form", REFUSED)
def test_refused_in_one_line(form: str, tmp_path: Path) -> None:
    """The line names the file and what it is, and says what to do."""
    make, word = REFUSED[form]
    take = make(tmp_path)
    with pytest.raises(SourceError, match=word) as caught:
        open_take(take)
    line = str(caught.value)
    assert "\n" not in line
    assert take.name in line


def test_mono_files_by_another_writer(tmp_path: Path) -> None:
    """sox takes a file apart into its channels; the folder is the same take again."""
    whole = plain(tmp_path, 12)
    folder = tmp_path / "T03"
    folder.mkdir()
    for channel in range(1, 13):
        run("sox", "-D", whole, folder / f"T03_{channel}.wav", "remix", channel)
    np.testing.assert_array_equal(samples(folder), reference(whole))


def test_parts_by_another_writer(tmp_path: Path) -> None:
    """sox cuts a take into three parts; the folder is the same take again."""
    whole = plain(tmp_path, 4)
    folder = tmp_path / "T03"
    folder.mkdir()
    for part in range(3):
        run(
            "sox", "-D", whole, folder / f"T03_00{part + 1}.wav", "trim", f"{1601 * part}s", "1601s"
        )
    shutil.copy(tmp_path / "plain.wav", tmp_path / "again.wav")
    np.testing.assert_array_equal(samples(folder), reference(whole)[: 3 * 1601])


def test_there_are_sixty_forms() -> None:
    """So many, at the least."""
    assert len(READ) + len(REFUSED) >= 60

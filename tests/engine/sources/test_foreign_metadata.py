"""Metadata in files that another program wrote."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from engine.sources.take import open_take

START = 18 * 3600 * 48_000 + 4 * 60 * 48_000 + 7
"""18:04:00 and seven samples, at 48 kHz."""


def made_by_ffmpeg(path: Path, *options: str, channels: int = 2) -> Path:
    """A second of tones with a bext chunk by ffmpeg."""
    source = f"sine=frequency=440:sample_rate=48000:duration=1,aformat=channel_layouts={channels}c"
    command = ["ffmpeg", "-v", "error", "-y", "-f", "lavfi", "-i", source, "-write_bext", "1"]
    tags = {
        "description": "sSCENE=12 take 3",
        "originator": "recorder",
        "origination_date": "2026-06-01",
        "origination_time": "18:04:00",
        "time_reference": str(START),
    }
    for name, value in tags.items():
        command += ["-metadata", f"{name}={value}"]
    subprocess.run([*command, *options, str(path)], check=True, timeout=60)
    return path


@pytest.mark.parametrize(
    "options",
    [("-c:a", "pcm_s16le"), ("-c:a", "pcm_s24le"), ("-rf64", "always"), ("-c:a", "pcm_f32le")],
)
def test_bext_by_another_writer_is_read(tmp_path: Path, options: tuple[str, ...]) -> None:
    """Time reference, description, originator and date are those that were given to ffmpeg."""
    source = open_take(made_by_ffmpeg(tmp_path / "take.wav", *options), read_ahead=0)
    source.close()
    assert source.info.start_samples == START
    fields = source.info.fields
    assert fields["description"] == "sSCENE=12 take 3"
    assert fields["originator"] == "recorder"
    assert (fields["date"], fields["time"]) == ("2026-06-01", "18:04:00")

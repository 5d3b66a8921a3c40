"""Checksums of a card. Source: RFC 8493 (payload manifest), and `sha256sum` as a second reader."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from engine.verify.manifest import checksums, differences, read, written


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """Two files, one in a folder."""
    folder = tmp_path / "card"
    (folder / "day 1").mkdir(parents=True)
    (folder / "a.wav").write_bytes(b"abc")
    (folder / "day 1" / "b.wav").write_bytes(b"")
    return folder


def test_the_published_digests(card: Path) -> None:
    """SHA-256 of "abc" and of nothing as FIPS 180-4 and its example values have them."""
    sums = checksums(card)
    assert sums["a.wav"] == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sums["day 1/b.wav"] == (
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    )


def test_a_manifest_comes_back(card: Path) -> None:
    """Written and read it is the same."""
    sums = checksums(card)
    assert read(written(sums)) == sums


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="sha256sum is not installed")
def test_another_program_reads_it(card: Path, tmp_path: Path) -> None:
    """`sha256sum --check` finds every file right."""
    (tmp_path / "manifest").write_text(written(checksums(card)), encoding="utf-8")
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", tmp_path / "manifest"],
        cwd=card,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_what_is_missing_or_differs_is_named(card: Path, tmp_path: Path) -> None:
    """A copy without one file and with a changed byte in the other."""
    copy = tmp_path / "copy"
    copy.mkdir()
    (copy / "a.wav").write_bytes(b"abd")
    texts = [f.text for f in differences(checksums(card), checksums(copy), "copy")]
    assert texts == ["day 1/b.wav: missing in copy", "a.wav: differs in copy"]


@pytest.mark.parametrize("text", ["abc", "0" * 63 + "  a", "g" * 64 + "  a", "0" * 64])
def test_what_is_no_manifest_is_refused(text: str) -> None:
    """One clear line."""
    with pytest.raises(ValueError, match="line 1"):
        read(text)

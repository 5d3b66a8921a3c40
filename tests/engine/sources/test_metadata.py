"""Metadata is read leniently, and nothing in it can stop a take."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.sources.metadata import Metadata, read_metadata
from tests.support.wav_files import bext, ixml, track_list


def read(*chunks: bytes, channels: int = 2, rate_hz: int = 48_000) -> Metadata:
    """Metadata of those chunks."""
    return read_metadata({c[:4]: c[8:] for c in chunks}, channels, rate_hz)


def speed(**fields: object) -> bytes:
    """An iXML chunk with a SPEED element."""
    inner = "".join(f"<{name}>{value}</{name}>" for name, value in fields.items())
    return ixml(f"<SPEED>{inner}</SPEED>")


def test_without_chunks_nothing_is_known():
    """A file that says nothing of itself gives unnamed tracks and no time."""
    assert read() == Metadata(("", ""))


@pytest.mark.parametrize(
    ("tracks", "names"),
    [
        (((1, "A"), (2, "B")), ("A", "B")),
        (((2, "A"), (1, "B")), ("B", "A")),
        (((0, "A"), (1, "B")), ("A", "B")),
        ((("", "A"), ("", "B")), ("A", "B")),
        (((1, "A"), (1, "B")), ("A", "B")),
        (((2, "B"),), ("", "B")),
        (((7, "far"),), ("", "")),
        ((("x", "A"), (2, "B")), ("", "")),
        (((1, "  Beam \n mic "), (2, "Ünder")), ("Beam mic", "Ünder")),
    ],
)
def test_track_names_go_by_their_place_in_the_file(tracks, names):
    """INTERLEAVE_INDEX places a name; where it is senseless the order in the list does (iXML)."""
    assert read(ixml(track_list(*tracks))).channel_names == names


@pytest.mark.parametrize(
    ("rate", "flag", "word"),
    [
        ("24000/1001", "NDF", "23.976"),
        ("24/1", "NDF", "24"),
        ("25/1", "NDF", "25"),
        ("25", "", "25"),
        ("30000/1001", "NDF", "29.97"),
        ("30000/1001", "DF", "29.97df"),
        ("29.97", "DF", "29.97df"),
        ("23.98", "NDF", "23.976"),
        ("30/1", "NDF", "30"),
        ("30/1", "DF", None),
        ("50/1", "NDF", "50"),
        ("60000/1001", "DF", "59.94df"),
        ("119.88", "NDF", "119.88"),
        ("48/1", "DF", None),
        ("72/1", "NDF", None),
        ("25/0", "NDF", None),
        ("", "", None),
        ("fast", "NDF", None),
    ],
)
def test_frame_rate_is_given_in_the_words_of_a_plan(rate, flag, word):
    """TIMECODE_RATE and TIMECODE_FLAG become a plan's word, or nothing (iXML, SPEED)."""
    assert read(speed(TIMECODE_RATE=rate, TIMECODE_FLAG=flag)).frame_rate == word


def test_the_time_reference_of_bext_wins():
    """TimeReference of bext is used before iXML's timestamp: common practice, no source."""
    timestamp = speed(TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO=5)
    assert read(bext(1 << 31), timestamp).start_samples == 1 << 31
    assert read(timestamp).start_samples == 5


def test_a_timestamp_counted_at_another_rate_is_moved_to_the_files():
    """iXML's samples since midnight have a rate of their own and 64 bits in two fields."""
    fields = {
        "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI": 1,
        "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO": 0,
        "TIMESTAMP_SAMPLE_RATE": 96_000,
    }
    assert read(speed(**fields)).start_samples == 1 << 31


@pytest.mark.parametrize("reference", [24 * 3600 * 48_000, (1 << 64) - 1])
def test_a_time_past_midnight_is_no_time(reference):
    """A reference of 24 hours or more since midnight counts as not given."""
    assert read(bext(reference)).start_samples is None
    assert read(bext(24 * 3600 * 48_000 - 1)).start_samples == 24 * 3600 * 48_000 - 1


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\0" * 100,
        b"plain text",
        b"<BWFXML><SCENE>",
        b"<BWFXML>" + b"<A>" * 50_000,
        b'<!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/passwd">]><BWFXML><SCENE>&a;</SCENE></BWFXML>',
        b"<!DOCTYPE l ["
        + b"".join(
            b'<!ENTITY e%d "%s">' % (n, (b"&e%d;" % (n - 1) if n else b"x") * 30) for n in range(12)
        )
        + b"]><BWFXML><SCENE>&e11;</SCENE></BWFXML>",
    ],
    ids=["empty", "zeros", "text", "open end", "deep", "outside entity", "entity bomb"],
)
def test_hostile_xml_counts_as_no_metadata(body):
    """Whatever stands in iXML, tracks stay unnamed and nothing from outside is read."""
    data = read_metadata({b"iXML": body}, 2, 48_000)
    assert data.channel_names == ("", "")
    assert "scene" not in data.fields


def test_a_short_bext_counts_as_none():
    """A bext chunk cut short says nothing."""
    assert read_metadata({b"bext": bext(5)[8:400]}, 1, 48_000) == Metadata(("",))


def test_text_outside_ascii_in_bext_keeps_the_time():
    """A description in another alphabet does not cost the time reference."""
    data = read(bext(7, "Übung".encode("latin-1")))
    assert data.start_samples == 7
    assert data.fields["description"] == "Übung"


@settings(max_examples=200)
@given(st.binary(max_size=700), st.binary(max_size=300), st.integers(1, 64))
def test_no_content_raises(about, xml, channels):
    """Any bytes at all give one name a channel and a time of day or none."""
    text = b"<BWFXML><TRACK_LIST>" + xml + b"</TRACK_LIST></BWFXML>"
    data = read_metadata({b"bext": about, b"iXML": text}, channels, 48_000)
    assert len(data.channel_names) == channels
    assert data.start_samples is None or 0 <= data.start_samples < 24 * 3600 * 48_000


def test_the_count_that_keeps_the_library_busy_is_never_shown_to_it(tmp_path):
    """A ds64 table of four billion entries does not slow a take down."""
    from engine.sources.take import open_take
    from tests.support.wav_files import chunk, fmt, wav

    ds64 = chunk(b"ds64", struct.pack("<QQQI", 0, 8, 2, 0xFFFFFFFF) + b"\0" * 12)
    data = chunk(b"data", b"\0" * 8, 0xFFFFFFFF)
    path = tmp_path / "take.wav"
    path.write_bytes(wav(ds64, bext(9), fmt(), data, name=b"RF64", stated=0xFFFFFFFF))
    source = open_take(path)
    source.close()
    assert source.info.start_samples == 9

"""The truth of the demo take against its samples, and levels as on a real shoot.

Levels are RMS by AES17 (a full-scale sine reads 0 dBFS). The ranges for dialogue peaks, live
floors and the 10 to 15 dB between the packs of one performer are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from demo_audio.packs import Link
from demo_audio.script import BEHIND_B, FADES, PACKS, SPOTS, STROKES_S, Line, load_script
from demo_audio.sound_field import PRIME_HZ, scaled, sine_amplitude
from tests.references import libltc
from tests.support.rendered_demo import Rendered

PAIRS = (1, 3)
MAINS = (1, 3, 5, 6, 7)
WEARERS = {pack.spot: pack.input for pack in reversed(PACKS) if SPOTS[pack.spot].wearer}
LINES = load_script().lines
WORN = [line for line in LINES if line.who in WEARERS]
PAIRED = [line for line in WORN if WEARERS[line.who] in PAIRS]


def _flat_runs(sound: NDArray[np.float64]) -> NDArray[np.intp]:
    """Starts of runs of 3 or more samples at the sound's own extreme."""
    on = (np.abs(sound) == np.max(np.abs(sound))).astype(np.int8)
    edges = np.diff(np.concatenate([[0], on, [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return starts[ends - starts >= 3]


def _longest_zero_s(sound: NDArray[np.float64], rate_hz: int) -> float:
    loud = np.flatnonzero(np.concatenate([[1.0], sound, [1.0]]))
    return float(np.max(np.diff(loud)) - 1) / rate_hz


def _said(take: Rendered, line: Line, track: int) -> NDArray[np.float64]:
    return take.track(track, line.at_s, line.at_s + 1.3)


def test_muted_stretch_is_digital_zero(demo: Rendered) -> None:
    """The muted pack gives zeros from the stated onset to the stated end, and sound around it."""
    row = demo.fault("muted")
    assert not demo.track(row["track"], row["onset_s"], row["end_s"]).any()
    frame_s = 1.0 / demo.rate_hz
    for at_s in (row["onset_s"] - 5 * frame_s, row["end_s"]):
        assert demo.track(row["track"], at_s, at_s + 5 * frame_s).any()


def test_first_fault_comes_soon_but_not_at_once(demo: Rendered) -> None:
    """A newcomer sees ten healthy seconds, then the first fault within twelve."""
    first_s = min(row["onset_s"] for row in demo.truth["faults"])
    assert 10.0 <= first_s <= 12.0


def test_hum_stands_on_mains_lines(demo: Rendered, healthy: Rendered) -> None:
    """What the hum adds are lines at multiples of 50 Hz, -37 dBFS together, in its span alone."""
    row = demo.fault("hum")
    cut = (row["track"], row["onset_s"] + 1.0, row["onset_s"] + 11.0)
    added = demo.track(*cut) - healthy.track(*cut)
    spectrum = np.abs(np.fft.rfft(added)) / (len(added) / 2)  # bins of 0.1 Hz, sine amplitudes
    lines = {n: spectrum[500 * n] for n in range(1, 12)}
    assert {n for n, a in lines.items() if a > 0.01 * lines[1]} == {1, 2, 3, 5, 7}
    assert 10 * np.log10(sum(a * a for a in lines.values())) == pytest.approx(-37.0, abs=0.1)
    assert np.sum(spectrum**2) == pytest.approx(sum(a * a for a in lines.values()), rel=0.01)


def test_the_fading_antenna_takes_the_same_moments_of_all_its_packs(demo: Rendered) -> None:
    """Each gap is digital zero on every track of receiver B, and on none of receiver A."""
    rows = [row for row in demo.truth["faults"] if row["fault"] == "dropout"]
    assert tuple(row["track"] for row in rows) == BEHIND_B
    for begin_s, length_s in FADES:
        assert 0.005 < length_s < 0.5
        inside = (begin_s + 0.002, begin_s + length_s - 0.002)
        silent = {n for n in range(1, 12) if not demo.track(n, *inside).any()}
        assert silent == set(BEHIND_B)


def test_a_slipped_mic_hears_its_wearer_fainter(demo: Rendered, healthy: Rendered) -> None:
    """The foreman's voice is 9 dB down on the main, over a place that stays as it was."""
    row = demo.fault("pair_drift")
    lines = [one for one in LINES if one.who == "foreman" and one.at_s > row["onset_s"] + 1.0]
    assert len(lines) > 5
    for line in lines:
        cut = (row["track"], line.at_s + 0.2, line.at_s + 1.2)
        loss_db = 10 * np.log10(np.mean(healthy.track(*cut) ** 2) / np.mean(demo.track(*cut) ** 2))
        assert 8.0 < loss_db < 9.1  # the place fills up a little of what is lost
    floor_db = [np.min(take.levels_dbfs(row["track"], 45.0, 95.0)) for take in (demo, healthy)]
    assert floor_db[0] == pytest.approx(floor_db[1], abs=1.0)


def test_the_pack_patched_twice_is_the_same_samples(demo: Rendered) -> None:
    """In its span the mason's input carries the ringer's pack, sample for sample; not before."""
    row = demo.fault("duplicate")
    span = (row["onset_s"], row["end_s"])
    assert np.array_equal(demo.track(7, *span), demo.track(6, *span))
    before = (row["onset_s"] - 0.1, row["onset_s"])
    assert not np.array_equal(demo.track(7, *before), demo.track(6, *before))


def test_the_bell_has_the_partials_of_a_tuned_bell(demo: Rendered) -> None:
    """Hum, prime, tierce, quint and nominal stand at 0.5, 1, 1.2, 1.5 and 2 of the prime.

    Source: W. Hibbert, "The sound of bells": an octave, a minor third, a fifth, an octave.
    """
    sound = demo.track(9, STROKES_S[-1] + 0.1, STROKES_S[-1] + 2.1)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    for ratio in (0.5, 1.0, 1.2, 1.5, 2.0):
        at = round(2 * PRIME_HZ * ratio)
        near = spectrum[at - 30 : at + 31]
        assert abs(int(near.argmax()) - 30) <= 1
        assert near.max() > 10.0 * np.median(near)


def test_flat_tops_lie_where_the_truth_says(demo: Rendered) -> None:
    """Flat tops reach from the stated onset to the stated end, at one ceiling below full scale."""
    row = demo.fault("clipped")
    sound = demo.track(row["track"])
    starts_s = _flat_runs(sound) / demo.rate_hz
    assert len(starts_s) > 50
    assert starts_s[0] == pytest.approx(row["onset_s"], abs=1e-3)
    assert starts_s[-1] == pytest.approx(row["end_s"], abs=1e-3)
    assert row["end_s"] - row["onset_s"] > 8.0
    assert np.max(np.diff(starts_s)) < STROKES_S[1] - STROKES_S[0]
    assert 20.0 * np.log10(np.max(np.abs(sound))) == pytest.approx(-2.1, abs=0.01)


def test_only_the_main_beside_the_bell_has_flat_tops(demo: Rendered) -> None:
    """No other track has a single flat top or comes within 6 dB of full scale."""
    for track in range(1, 13):  # the last one, a spare input, has nothing but its last bits
        if track == demo.fault("clipped")["track"]:
            continue
        sound = demo.track(track)
        assert len(_flat_runs(sound)) == 0, track
        assert 20.0 * np.log10(np.max(np.abs(sound))) < -6.0, track


@pytest.mark.parametrize("main", MAINS)
def test_live_floors(healthy: Rendered, main: int) -> None:
    """A main's live floor lies in -62 to -48 dBFS, its safety's 10 to 15 dB lower.

    The floor is taken as the tenth percentile of the level in steps of 400 ms.
    """
    floor = np.percentile(healthy.levels_dbfs(main), 10)
    assert -62.0 <= floor <= -48.0
    if main in PAIRS:
        safety = np.percentile(healthy.levels_dbfs(main + 1), 10)
        assert 10.0 <= floor - safety <= 15.0


@pytest.mark.parametrize("track", range(1, 12))
def test_healthy_tracks_never_leave_their_floor(healthy: Rendered, track: int) -> None:
    """No moment of a healthy track falls more than 5 dB under its live floor."""
    levels = healthy.levels_dbfs(track)
    assert np.min(levels) > np.percentile(levels, 10) - 5.0


@pytest.mark.parametrize("line", WORN, ids=lambda line: f"{line.at_s:04.1f}-{line.who}")
def test_speech_peaks(healthy: Rendered, line: Line) -> None:
    """Each line peaks at -20 to -8 dBFS on its wearer's main pack."""
    peak = np.max(np.abs(_said(healthy, line, WEARERS[line.who])))
    assert -20.0 <= 20.0 * np.log10(peak) <= -8.0


@pytest.mark.parametrize("line", PAIRED, ids=lambda line: f"{line.at_s:04.1f}-{line.who}")
def test_safety_is_the_main_10_to_15_db_lower(healthy: Rendered, line: Line) -> None:
    """The packs of one performer carry the same voice 10 to 15 dB apart, less than 1 ms apart.

    Polarity is equal and the lag is read from the highest correlation.
    """
    main = _said(healthy, line, WEARERS[line.who])
    safety = _said(healthy, line, WEARERS[line.who] + 1)
    gap_db = 10.0 * np.log10(np.mean(main**2) / np.mean(safety**2))
    assert 10.0 <= gap_db <= 15.0
    lags = range(0, 60, 3)  # frames at 48 kHz: 62.5 us, up to 1.2 ms
    likeness = [np.corrcoef(main[: len(main) - lag], safety[lag:])[0, 1] for lag in lags]
    assert max(likeness) > 0.9
    assert lags[int(np.argmax(likeness))] / healthy.rate_hz < 0.001


@pytest.mark.parametrize("line", WORN, ids=lambda line: f"{line.at_s:04.1f}-{line.who}")
def test_speech_stands_out(healthy: Rendered, line: Line) -> None:
    """Speech is at least 20 dB over the live floor of its wearer's main.

    ANSI S3.5-1997, 5.2.3.5: more than 15 dB over the noise makes a band no more audible (as public
    implementations of it have it).
    """
    track = WEARERS[line.who]
    floor = np.percentile(healthy.levels_dbfs(track), 10)
    speech = np.max(healthy.levels_dbfs(track, line.at_s, line.at_s + 1.3))
    assert speech - floor > 20.0


def test_quiet_performer_is_still_alive(demo: Rendered) -> None:
    """In the harmless minute nobody speaks into the pack, yet its floor stays live."""
    (row,) = [h for h in demo.truth["harmless"] if h["track"] == 7]
    assert row["end_s"] - row["onset_s"] > 58.0
    levels = demo.levels_dbfs(7, row["onset_s"], min(row["end_s"], FADES[0][0]))
    assert np.percentile(levels, 10) == pytest.approx(-55.0, abs=3.0)
    assert np.min(levels) > -60.0
    assert np.max(levels) < -40.0
    assert np.std(levels) > 0.5  # breath, cloth and wind move; electronics would not


def test_crowd_never_falls_silent(demo: Rendered) -> None:
    """Both microphones in the square stay within 6 dB until the bell rings."""
    for track in (10, 11):
        assert np.ptp(demo.levels_dbfs(track, 0.0, STROKES_S[0])) < 6.0


def test_the_radio_is_quiet_but_never_dead(demo: Rendered) -> None:
    """The crew radio idles at line noise of -90 dBFS most of the time and is never digital zero."""
    levels = demo.levels_dbfs(12)
    assert np.median(levels) == pytest.approx(-90.0, abs=1.0)
    assert np.mean(levels > -50.0) > 0.03
    assert _longest_zero_s(demo.track(12), demo.rate_hz) < 0.01


def test_healthy_take_has_no_zeros_and_no_flat_tops(healthy: Rendered) -> None:
    """With no faults put in, no track is ever digital zero and none comes near full scale."""
    for track in range(1, 13):
        sound = healthy.track(track)
        assert _longest_zero_s(sound, healthy.rate_hz) < 0.01, track
        assert 20.0 * np.log10(np.max(np.abs(sound))) < -6.0, track


def test_takes_differ_only_where_faults_are(demo: Rendered, healthy: Rendered) -> None:
    """Before the first fault the two takes are the same samples."""
    first_s = min(row["onset_s"] for row in demo.truth["faults"])
    cut = round(first_s * demo.rate_hz)
    assert np.array_equal(demo.samples[:cut], healthy.samples[:cut])


def test_levels_are_sine_referenced() -> None:
    """A level of 0 dBFS is the RMS of a full-scale sine (AES17)."""
    t = np.arange(48_000) / 48_000.0
    sine = np.sin(2.0 * np.pi * 997.0 * t)
    assert sine_amplitude(0.0) == pytest.approx(np.sqrt(np.mean(sine**2)), rel=1e-6)
    assert scaled(0.1 * sine, 0.0) == pytest.approx(sine, abs=1e-6)


def test_interpolation_keeps_a_tone() -> None:
    """A 1 kHz tone at a capsule comes out of the link at 48 kHz with its level, no images."""
    from demo_audio.packs import at_pack
    from demo_audio.script import Pack
    from demo_audio.voices import WORLD_FRAMES

    tone = 0.1 * np.sin(2.0 * np.pi * 1000.0 * np.arange(WORLD_FRAMES) / 16_000.0)
    pack = Pack(99, "belfry", hiss_dbfs=-140.0)
    out = Link(pack, at_pack(tone, pack, 0.0), []).block(48_000, 48_000)
    spectrum = np.abs(np.fft.rfft(out)) / 24_000.0  # bins of 1 Hz, amplitude of a sine
    assert spectrum[1000] == pytest.approx(0.1, rel=0.01)
    assert np.max(np.delete(spectrum, 1000)) < 1e-4


def test_timecode_is_read_by_an_outside_decoder(demo: Rendered) -> None:
    """libltc reads every second of track 14, 25 frames a second from 19:30:00:00 on."""
    sound = demo.track(14).astype(np.float32)
    heard = libltc.decode(sound, demo.rate_hz, 25)
    assert len(heard) >= 2748
    for frame in heard:
        _, minutes, seconds, frames = frame.fields
        n = ((minutes - 30) * 60 + seconds) * 25 + frames
        assert frame.fields[0] == 19
        assert abs(frame.start - n * 1920) <= 12
    assert 20.0 * np.log10(np.abs(sound).max()) == pytest.approx(-18.0, abs=0.01)

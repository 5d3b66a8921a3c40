"""What people, tools and weather beside microphones sound like: more of what is no fault.

Made from physics alone, as `harmless_sound`, whose conventions it keeps: nothing here shares a
constant with detectors or injectors; waves have shape (frames,) at `RATE` and an RMS of their own,
to be set by `at_level`. Models without a source beside them: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.signal import butter, fftconvolve, sosfilt

from tests.support.harmless_sound import RATE, Wave, band

Rng = np.random.Generator


def knock(modes_hz: Sequence[float] | Wave, decay_s: float, rng: Rng) -> Wave:
    """One stroke on something stiff: its modes, each with a loudness of its own, die away, higher
    ones sooner; it has risen within a twentieth of a millisecond."""
    t = np.arange(round(8.0 * decay_s * RATE)) / RATE
    rung = np.zeros(len(t))
    for hz in modes_hz:
        dying = np.exp(-t / decay_s * (hz / min(modes_hz)) ** 0.5)
        rung += rng.uniform(0.3, 1.0) * np.sin(2.0 * np.pi * hz * t + rng.uniform(0, 6)) * dying
    return np.asarray(rung * (1.0 - np.exp(-t / 0.00005)))


def strokes(seconds: float, at_s: Wave, sizes: Wave, one: Callable[[], Wave]) -> Wave:
    """Such strokes at those times, each made anew."""
    out = np.zeros(round(seconds * RATE))
    for begin_s, size in zip(at_s, sizes, strict=True):
        wave = one()
        first = int(begin_s * RATE)
        part = out[first : first + len(wave)]
        part += size * wave[: len(part)]
    return out


def _poisson(seconds: float, each_s: float, rng: Rng) -> Wave:
    return np.sort(rng.uniform(0.0, seconds, rng.poisson(each_s * seconds)))


def hail(seconds: float, rng: Rng, stones_s: float = 40.0) -> Wave:
    """Stones that strike wood, cloth and tin round the mic: each rings at modes of its own between
    1.2 and 9 kHz; sizes as of drops, harder with their mass."""
    at_s = _poisson(seconds, stones_s, rng)
    sizes = rng.exponential(1.0, len(at_s)) ** 1.5
    return strokes(seconds, at_s, sizes, lambda: knock(rng.uniform(1200.0, 9000.0, 4), 0.002, rng))


def umbrella(seconds: float, rng: Rng, drops_s: float = 120.0) -> Wave:
    """Drizzle on a tight skin over one's head: it booms at 300 to 1500 Hz for some milliseconds
    under the click of each drop."""
    at_s = _poisson(seconds, drops_s, rng)
    sizes = rng.exponential(1.0, len(at_s))

    def drop() -> Wave:
        boom = knock(rng.uniform(300.0, 1500.0, 3), 0.005, rng)
        click = rng.standard_normal(len(boom)) * np.exp(-np.arange(len(boom)) / (0.0004 * RATE))
        return np.asarray(boom + 0.5 * click)

    return strokes(seconds, at_s, sizes, drop)


def crumpling(seconds: float, rng: Rng, clicks_s: float = 80.0) -> Wave:
    """A raincoat, a bag, foil: clicks whose energies follow a power law of exponent 1.5 over some
    decades (P. A. Houle and J. P. Sethna, Phys. Rev. E 54, 278, 1996, from memory), in bouts."""
    at_s = _poisson(seconds, clicks_s, rng)
    bouts = np.interp(
        at_s,
        np.arange(0.0, seconds + 1.0, 0.4),
        rng.random(int(seconds / 0.4) + 3)[: len(np.arange(0.0, seconds + 1.0, 0.4))],
    )
    at_s = at_s[bouts > 0.45]
    energies = np.minimum((1.0 - rng.random(len(at_s))) ** -2.0, 1e4)
    return strokes(
        seconds,
        at_s,
        np.sqrt(energies),
        lambda: knock(rng.uniform(1500.0, 12000.0, 5), 0.0008, rng),
    )


def tape_off_roll(seconds: float, rng: Rng) -> Wave:
    """Gaffer tape pulled off its roll: the glue sticks and slips 400 to 1200 times a second, each
    slip a click, in pulls of 0.3 to 1.2 s that begin at once."""
    pulls = _pulls(seconds, rng, (0.3, 1.2), 0.01)
    slips = np.cumsum(rng.gamma(3.0, 1.0 / (3.0 * rng.uniform(400.0, 1200.0)), int(seconds * 1300)))
    slips = slips[slips < seconds - 0.01]
    sizes = rng.uniform(0.4, 1.0, len(slips))
    clicks = strokes(seconds, slips, sizes, lambda: knock((2500.0, 5200.0, 9100.0), 0.0005, rng))
    return np.asarray(clicks * pulls)


def velcro(seconds: float, rng: Rng) -> Wave:
    """A hook strip torn open: thousands of hooks a second, each a click, in pulls of 0.2 to 0.6 s
    that swell as they are pulled."""
    hits = (rng.random(round(seconds * RATE)) < 4000.0 / RATE) * rng.exponential(
        1.0, round(seconds * RATE)
    )
    clicks = band(hits * rng.choice([-1.0, 1.0], len(hits)), 800.0, 14_000.0)
    return np.asarray(clicks * _pulls(seconds, rng, (0.2, 0.6), 0.08))


def zipper(seconds: float, rng: Rng) -> Wave:
    """The zip of a jacket: its slider passes 150 to 400 teeth a second, faster and slower, each a
    click of 2 to 10 kHz, in strokes of 0.3 to 0.9 s."""
    pace = 275.0 + 125.0 * np.sin(2.0 * np.pi * 1.3 * np.arange(round(seconds * RATE)) / RATE)
    teeth = np.flatnonzero(np.diff(np.floor(np.cumsum(pace) / RATE))) / RATE
    sizes = rng.uniform(0.5, 1.0, len(teeth))
    clicks = strokes(seconds, teeth, sizes, lambda: knock((2100.0, 4700.0, 8300.0), 0.001, rng))
    return np.asarray(clicks * _pulls(seconds, rng, (0.3, 0.9), 0.03))


def air_jet(seconds: float, rng: Rng) -> Wave:
    """A spray can, a duster, an air line: the noise of a small jet, a wide hump round some kHz
    (M. J. Lighthill's jets, from memory), from 5 ms after the valve opens, for 0.2 to 1.5 s."""
    white = rng.standard_normal(round(seconds * RATE))
    hump = butter(1, (rng.uniform(2000.0, 5000.0), 15_000.0), "bandpass", fs=RATE, output="sos")
    return np.asarray(sosfilt(hump, white) * _pulls(seconds, rng, (0.2, 1.5), 0.005))


def hairdryer(seconds: float, rng: Rng) -> Wave:
    """A fan behind a grille: noise that falls by some 3 dB an octave, blades and motor over it; it
    runs up in 0.4 s."""
    frames = round(seconds * RATE)
    white = rng.standard_normal(frames)
    blow = sosfilt(butter(1, (200.0, 900.0), "bandpass", fs=RATE, output="sos"), white)
    blow = blow / np.std(blow) + 0.3 * band(white, 800.0, 12_000.0, 1)
    t = np.arange(frames) / RATE
    speed = np.minimum(t / 0.4, 1.0)
    phase = 2.0 * np.pi * np.cumsum(220.0 * speed) / RATE
    whine = 0.3 * np.sin(phase) + 0.2 * np.sin(9.0 * phase)
    return np.asarray((blow + whine) * speed**2)


def chain_hoist(seconds: float, rng: Rng) -> Wave:
    """A hoist pulls: links fall into the bag 8 to 25 times a second and ring at some kHz for 10 to
    30 ms, over the hum of the motor."""
    at_s = np.cumsum(rng.gamma(4.0, 1.0 / (4.0 * rng.uniform(8.0, 25.0)), int(seconds * 30)))
    at_s = at_s[at_s < seconds]
    modes = rng.uniform(1400.0, 9500.0, 6)
    links = strokes(
        seconds, at_s, rng.uniform(0.2, 1.0, len(at_s)), lambda: knock(modes, 0.02, rng)
    )
    t = np.arange(len(links)) / RATE
    return np.asarray(links + 0.05 * np.sin(2.0 * np.pi * 143.0 * t) + 0.03 * np.sin(900.0 * t))


def keys(seconds: float, rng: Rng) -> Wave:
    """Keys on a belt at each step: some strokes of little bars between 3 and 16 kHz."""
    steps = np.arange(0.3, seconds - 0.2, 0.55)
    at_s = np.sort(np.concatenate([steps + rng.exponential(0.04, len(steps)) for _ in range(5)]))
    sizes = rng.exponential(0.5, len(at_s))
    return strokes(seconds, at_s, sizes, lambda: knock(rng.uniform(3000.0, 16_000.0, 5), 0.01, rng))


def gravel(seconds: float, rng: Rng) -> Wave:
    """Steps on gravel: for 0.1 s a shower of grains that strike each other, twice a second."""
    frames = round(seconds * RATE)
    t = np.arange(frames) / RATE
    tread = np.exp(-(((t % 0.5) - 0.12) ** 2) / 0.002)
    hits = (rng.random(frames) < 900.0 * tread / RATE) * rng.exponential(1.0, frames) ** 2
    grain = rng.standard_normal(200) * np.exp(-np.arange(200) / 30.0)
    return np.asarray(fftconvolve(hits, grain)[:frames])


def radio_beside(speech: Wave, rng: Rng) -> Wave:
    """A hand-held radio that speaks: what is said between 300 and 3000 Hz, and after each passage a
    squelch tail of 0.15 s, the receiver's own noise through the same small loudspeaker. Where
    nobody speaks it says nothing."""
    if not speech.any():
        return np.zeros_like(speech)
    on = np.convolve(np.abs(speech), np.ones(9600) / 9600, "same") > 0.02 * np.abs(speech).max()
    driven = np.tanh(3.0 * band(speech, 300.0, 3000.0, 3) / np.std(speech))
    said = band(driven, 350.0, 3500.0, 1)  # a small loudspeaker cannot hold a flat top
    tails = np.zeros(len(said))
    for end in np.flatnonzero(np.diff(on.astype(int)) < 0):
        tails[end : end + round(0.15 * RATE)] = 1.0
    hash_sound = band(rng.standard_normal(len(said)), 300.0, 3000.0, 3)
    return np.asarray(said + 1.5 * tails * hash_sound / np.std(hash_sound))


def crowd_applause(seconds: float, rng: Rng, hands: int = 250) -> Wave:
    """Hundreds clap: each pair of hands three to five times a second, a burst of some ms with a
    hollow of its own (B. H. Repp, J. Acoust. Soc. Am. 81, 1100, 1987); it swells in a second."""
    out = np.zeros(round(seconds * RATE))
    for _ in range(hands):
        frames = round(0.012 * RATE)
        one = rng.standard_normal(frames) * np.exp(-np.arange(frames) / (0.002 * RATE))
        middle_hz = rng.uniform(800.0, 3000.0)
        one = band(one, 0.5 * middle_hz, 2.5 * middle_hz, 1)
        at_s = np.cumsum(rng.normal(1.0 / rng.uniform(3.0, 5.0), 0.02, int(5 * seconds)).clip(0.1))
        hits = np.zeros(len(out))
        hits[(at_s[at_s < seconds - 0.1] * RATE).astype(int)] = rng.uniform(0.3, 1.0)
        out += fftconvolve(hits, one)[: len(out)]
    t = np.arange(len(out)) / RATE
    return np.asarray(out * np.clip(t, 0.0, 1.0) * np.clip((seconds - t) / 2.0, 0.0, 1.0))


def _pulls(seconds: float, rng: Rng, lengths_s: tuple[float, float], edge_s: float) -> Wave:
    """1 while somebody pulls, 0 between; edges of that length."""
    on = np.zeros(round(seconds * RATE))
    at_s = rng.uniform(0.2, 1.0)
    while at_s < seconds:
        long_s = rng.uniform(*lengths_s)
        t = np.arange(round(long_s * RATE)) / RATE
        shape = np.clip(np.minimum(t, long_s - t) / edge_s, 0.0, 1.0) * rng.uniform(0.5, 1.0)
        first = round(at_s * RATE)
        on[first : first + len(t)] = shape[: max(len(on) - first, 0)]
        at_s += long_s + rng.uniform(0.3, 2.0)
    return on

"""Make the spoken sources anew: `python -m demo_audio.speak` (needs the Debian package `flite`).

Only whoever changes the words of script.toml runs this; rendering the take uses the FLACs.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path
from typing import Final

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import lfilter, resample_poly

from demo_audio.script import RECIPE_DIR, SLOT_S, WORLD_HZ, Effort, Line, Script, Voice, load_script

PEAK: Final = 0.7
QUIET: Final = 0.004
"""Below this share of full scale the voice has not begun or has ended."""


def main() -> None:
    """Speak every role's lines into one FLAC a role."""
    script = load_script()
    for who, voice in script.voices.items():
        lines = [line for line in script.lines if line.who == who]
        soundfile.write(RECIPE_DIR / f"{who}.flac", role(script, voice, lines), WORLD_HZ, "PCM_16")
        print(f"{who}: {len(lines)} lines")


def role(script: Script, voice: Voice, lines: list[Line]) -> NDArray[np.float64]:
    """A role's lines, one a slot of `SLOT_S`, shape (frames,)."""
    slot = round(SLOT_S * WORLD_HZ)
    out = np.zeros(slot * len(lines))
    for n, line in enumerate(lines):
        spoken = speak(voice, line)
        if len(spoken) > slot:
            raise SystemExit(f"too long for a slot of {SLOT_S} s: {line.text!r}; shorten it")
        out[n * slot : n * slot + len(spoken)] = spoken
    return out


def speak(voice: Voice, line: Line) -> NDArray[np.float64]:
    """One line, trimmed, at a fixed peak.

    Pitch and formants move together by resampling; the tempo is put right beforehand. A raised
    voice has a flatter spectrum: that is what vocal effort does.
    """
    pitch = voice.pitch
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder) / "line.wav"
        stretch = f"duration_stretch={voice.stretch * pitch:.4f}"
        command = ["flite", "-voice", voice.voice, "--setf", stretch, "-t", line.text]
        subprocess.run([*command, "-o", str(wav)], check=True)
        dry, rate_hz = soundfile.read(wav)
    if rate_hz != WORLD_HZ:
        raise SystemExit(f"voice {voice.voice} speaks at {rate_hz} Hz; {WORLD_HZ} Hz is needed")
    shifted = resample_poly(dry, 100, round(100 * pitch))
    if line.effort is not Effort.SAY:
        shifted = lfilter([1.0, -0.7], [1.0], shifted)
    audible = np.flatnonzero(np.abs(shifted) > QUIET * np.max(np.abs(shifted)))
    trimmed = shifted[audible[0] : audible[-1] + 1]
    return np.asarray(trimmed * (PEAK / np.max(np.abs(trimmed))))


if __name__ == "__main__":
    main()

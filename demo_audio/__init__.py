"""The demo take: a crew raises a bell into a church tower, rendered on first use.

Importing this is cheap; numpy, scipy and soundfile are loaded only when the take is rendered.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

TAKE_NAME: Final = "raising-the-bell.wav"
PLAN_NAME: Final = "plan.toml"
TRUTH_NAME: Final = "truth.json"
FOLDER_PREFIX: Final = "demo-take-"
TEMPORARY_PREFIX: Final = "rendering-"
KEPT_S: Final = 24 * 3600.0


@dataclass(frozen=True, slots=True)
class DemoTake:
    """Where the rendered take, its plan and the truth about its faults lie."""

    take: Path
    plan: Path
    truth: Path


class DemoTakeError(Exception):
    """The demo take could not be written; the message says what to do."""


def demo_take(
    cache_dir: Path | None = None,
    progress: Callable[[str], None] | None = None,
    healthy: bool = False,
) -> DemoTake:
    """The demo take, rendered into the cache if this very recipe was not rendered there yet.

    Parameters
    ----------
    cache_dir : Path, optional
        Where rendered takes are kept; the user's cache folder by default.
    progress : callable, optional
        Told one short line a step while rendering.
    healthy : bool
        The same evening with no faults put in.

    Raises
    ------
    DemoTakeError
        If the files cannot be written.
    """
    recipe = FOLDER_PREFIX + recipe_hash()[:12]
    where = cache_dir or _user_cache()
    folder = where / (recipe + ("-healthy" if healthy else ""))
    if not folder.is_dir():
        _render_beside(folder, healthy, progress or _quiet)
        if cache_dir is None:
            _forget_other_recipes(where, recipe)
    return DemoTake(folder / TAKE_NAME, folder / PLAN_NAME, folder / TRUTH_NAME)


def recipe_hash() -> str:
    """SHA-256 of all that the take is made from: code, story, spoken sources, timecode."""
    digest = hashlib.sha256()
    here = Path(__file__).parent
    engine = here.parent / "engine"
    code = (engine / "model" / "frame_rates.py", engine / "timecode" / "ltc_encoder.py")
    own = sorted(p for p in here.iterdir() if p.suffix in {".py", ".toml", ".flac"})
    for path in (*own, *code):
        content = path.read_bytes()
        digest.update(f"{path.name} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()


def _render_beside(folder: Path, healthy: bool, progress: Callable[[str], None]) -> None:
    """Render into a temporary folder, then rename: a half-written take is never found."""
    from demo_audio.render import render

    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(prefix=TEMPORARY_PREFIX, dir=folder.parent))
        try:
            render(temporary, healthy, progress)
            temporary.chmod(0o755)
            if not folder.is_dir():
                temporary.rename(folder)
        finally:
            shutil.rmtree(temporary, ignore_errors=True)
    except OSError as error:
        if folder.is_dir():  # another process was quicker
            return
        raise DemoTakeError(
            f"cannot write the demo take to {folder.parent} ({error.strerror or error}): "
            "free 300 MB there or name another folder"
        ) from error


def _user_cache() -> Path:
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("trackwarden"))


def _forget_other_recipes(cache_dir: Path, recipe: str) -> None:
    """A take is 220 MB; those of recipes no longer in use would pile up unseen.

    So would what a rendering that was killed left: after a day nothing is still being made.
    """
    for folder in cache_dir.glob(f"{FOLDER_PREFIX}*"):
        if not folder.name.startswith(recipe):
            shutil.rmtree(folder, ignore_errors=True)
    for folder in cache_dir.glob(f"{TEMPORARY_PREFIX}*"):
        if time.time() - folder.stat().st_mtime > KEPT_S:
            shutil.rmtree(folder, ignore_errors=True)


def _quiet(_message: str) -> None:
    pass

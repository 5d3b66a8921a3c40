"""Where the checkout lies that the tests run in."""

from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]

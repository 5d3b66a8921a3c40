"""What people choose for the window and for reports, with bounds. Data alone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from engine.model.round_state import LEAST_SECONDS, MOST_SECONDS, SECONDS


@dataclass(frozen=True, slots=True)
class Choices:
    """What people set besides look and chime.

    glance_m : how far from the screen the glance view is read
    screen_inch : diagonal of its screen; 0: as the screen reports it
    shelve_min, shelve_long_min : the two times of shelving, minutes
    break_min : a break this long is reminded of
    text_percent : size of all text and what holds it, of the usual
    round_s : how long a round plays each track, seconds
    round_red : 1 where a round goes to a track that turns red, else 0
    """

    glance_m: float = 3.0
    screen_inch: float = 0.0
    shelve_min: float = 5.0
    shelve_long_min: float = 15.0
    break_min: float = 30.0
    text_percent: float = 100.0
    round_s: float = SECONDS
    round_red: float = 1.0


BOUNDS = {
    "glance_m": (0.5, 10.0),
    "screen_inch": (0.0, 100.0),
    "shelve_min": (1.0, 60.0),
    "shelve_long_min": (1.0, 240.0),
    "break_min": (1.0, 240.0),
    "text_percent": (80.0, 150.0),
    "round_s": (LEAST_SECONDS, MOST_SECONDS),
    "round_red": (0.0, 1.0),
}


@dataclass(frozen=True, slots=True)
class ReportChoices:
    """Where reports go (each into a folder of its own there), in which forms, on which paper."""

    folder: Path
    forms: tuple[str, ...] = ("html", "pdf", "csv")
    paper: str = "a4"


REPORT_FORMS = ("html", "pdf", "csv", "json", "markers")


@dataclass(frozen=True, slots=True)
class PublishChoices:
    """Whether watches are published by MQTT, and which carts the overview shows.

    on : each watch is published from its start
    address : mqtt://HOST/SITE/CART
    site : mqtt://HOST/SITE of the overview; empty: that of `address`
    login, ca : files, as `app.fleet.broker_address.BrokerLogin` has them
    """

    on: bool = False
    address: str = ""
    site: str = ""
    login: str = ""
    ca: str = ""

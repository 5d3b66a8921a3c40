"""What the window remembers from one day to the next: looks, chime, times, places, recent files."""

from __future__ import annotations

import hashlib
import math
from dataclasses import fields
from pathlib import Path

from platformdirs import user_documents_path
from PySide6.QtCore import QByteArray, QLocale, QSettings

from app.alerts.chime import ChimeSettings
from app.models.choices import BOUNDS, REPORT_FORMS, Choices, PublishChoices, ReportChoices

MOST_RECENT = 12
CONFIRMED = "by ear: "
"""Before the name of the output on which the chime was heard; that of the default is empty."""


class Preferences:
    """Typed access to an ini file of the user's own."""

    def __init__(self, store: QSettings) -> None:
        self._store = store

    @classmethod
    def of_user(cls) -> Preferences:
        """The file in the user's own settings folder."""
        scope = QSettings.Scope.UserScope
        return cls(QSettings(QSettings.Format.IniFormat, scope, "trackwarden", "window"))

    @property
    def look(self) -> str:
        """Name of the look chosen last."""
        return str(self._store.value("look", "night"))

    @look.setter
    def look(self, name: str) -> None:
        self._store.setValue("look", name)

    @property
    def chime(self) -> ChimeSettings:
        """Chime settings; what is missing or spoilt in the file is as at first start."""
        fresh = ChimeSettings()
        try:
            level_db = float(str(self._store.value("chime/level_db", fresh.level_db)))
        except ValueError:
            level_db = fresh.level_db
        output = str(self._store.value("chime/output", "") or "")
        return ChimeSettings(
            on=str(self._store.value("chime/on", "true")).lower() != "false",
            output=output,
            level_db=min(0.0, max(-60.0, level_db)),
            confirmed=self._store.value("chime/confirmed") == f"{CONFIRMED}{output}",
        )

    @chime.setter
    def chime(self, settings: ChimeSettings) -> None:
        self._store.setValue("chime/on", "true" if settings.on else "false")
        self._store.setValue("chime/output", settings.output)
        self._store.setValue("chime/level_db", settings.level_db)
        confirmed = f"{CONFIRMED}{settings.output}" if settings.confirmed else ""
        self._store.setValue("chime/confirmed", confirmed)

    @property
    def desktop_alerts(self) -> bool:
        """Alarms are shown on the desktop as well."""
        return str(self._store.value("alerts/desktop", "true")).lower() != "false"

    @desktop_alerts.setter
    def desktop_alerts(self, on: bool) -> None:
        self._store.setValue("alerts/desktop", "true" if on else "false")

    @property
    def choices(self) -> Choices:
        """All other choices; what is missing, spoilt or out of bounds is as at first start."""
        values = {}
        for field in fields(Choices):
            low, high = BOUNDS[field.name]
            try:
                value = float(str(self._store.value(f"choices/{field.name}")))
            except ValueError:
                continue
            if math.isfinite(value) and low <= value <= high:
                values[field.name] = value
        return Choices(**values)

    @choices.setter
    def choices(self, choices: Choices) -> None:
        for field in fields(Choices):
            self._store.setValue(f"choices/{field.name}", getattr(choices, field.name))

    def place(self, window: str) -> QByteArray:
        """Where that window stood; empty where it never did."""
        entry = self._store.value(f"place/{window}")
        return entry if isinstance(entry, QByteArray) else QByteArray()

    def set_place(self, window: str, place: QByteArray) -> None:
        """Remember where that window stands."""
        self._store.setValue(f"place/{window}", place)

    def reset(self) -> None:
        """As at first start; recent files stay."""
        for group in ("look", "chime", "alerts", "choices", "place", "report", "publish"):
            self._store.remove(group)

    @property
    def report(self) -> ReportChoices:
        """How the last report was written; at first into the user's documents."""
        folder = str(self._store.value("report/folder", "") or "")
        imperial = QLocale.MeasurementSystem.ImperialUSSystem
        usual = "letter" if QLocale().measurementSystem() == imperial else "a4"
        paper = str(self._store.value("report/paper", usual))
        names = str(self._store.value("report/forms", "")).split()
        forms = tuple(form for form in REPORT_FORMS if form in names)
        fresh = ReportChoices(Path(folder) if folder else user_documents_path() / "trackwarden")
        return ReportChoices(
            fresh.folder, forms or fresh.forms, paper if paper in ("a4", "letter") else usual
        )

    @report.setter
    def report(self, choices: ReportChoices) -> None:
        self._store.setValue("report/folder", str(choices.folder))
        self._store.setValue("report/paper", choices.paper)
        self._store.setValue("report/forms", " ".join(choices.forms))

    @property
    def publish(self) -> PublishChoices:
        """How watches are published; off unless somebody switched it on."""
        named = {
            key: str(self._store.value(f"publish/{key}", "") or "")
            for key in ("address", "site", "login", "ca")
        }
        on = str(self._store.value("publish/on", "false")).lower() == "true"
        return PublishChoices(on and bool(named["address"]), **named)

    @publish.setter
    def publish(self, choices: PublishChoices) -> None:
        self._store.setValue("publish/on", "true" if choices.on else "false")
        for key in ("address", "site", "login", "ca"):
            self._store.setValue(f"publish/{key}", getattr(choices, key))

    @property
    def listen_output(self) -> str:
        """Name of the output for listening, empty for the system's default."""
        return str(self._store.value("listen/output", "") or "")

    @listen_output.setter
    def listen_output(self, name: str) -> None:
        self._store.setValue("listen/output", name)

    def plan_of(self, source: str) -> str:
        """The plan that was used last with that input or take; empty where there was none."""
        return str(self._store.value(f"plans/{_key(source)}", "") or "")

    def remember_plan(self, source: str, plan: str) -> None:
        """This plan belongs to that input or take from now on; empty: none does."""
        self._store.setValue(f"plans/{_key(source)}", plan)

    @property
    def recent(self) -> tuple[str, ...]:
        """Paths of takes and plans, newest first."""
        entry = self._store.value("recent", [])
        if isinstance(entry, str):
            return (entry,) if entry else ()
        return tuple(str(path) for path in entry) if isinstance(entry, list) else ()

    def remember(self, path: str) -> None:
        """Put a take or plan in front of the recent ones."""
        paths = [path, *(p for p in self.recent if p != path)]
        self._store.setValue("recent", paths[:MOST_RECENT])


def _key(source: str) -> str:
    """A name as a key of the file, which has no room for slashes."""
    return hashlib.sha256(source.encode()).hexdigest()[:16]

"""What the window remembers from one day to the next: look, chime, recent files."""

from __future__ import annotations

from PySide6.QtCore import QSettings

from app.chime import ChimeSettings

MOST_RECENT = 12


class Prefs:
    """Typed access to an ini file of the user's own."""

    def __init__(self, store: QSettings) -> None:
        self._store = store

    @classmethod
    def of_user(cls) -> Prefs:
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
        return ChimeSettings(
            on=str(self._store.value("chime/on", "true")).lower() != "false",
            output=str(self._store.value("chime/output", "") or ""),
            level_db=min(0.0, max(-60.0, level_db)),
        )

    @chime.setter
    def chime(self, settings: ChimeSettings) -> None:
        self._store.setValue("chime/on", "true" if settings.on else "false")
        self._store.setValue("chime/output", settings.output)
        self._store.setValue("chime/level_db", settings.level_db)

    @property
    def listen_output(self) -> str:
        """Name of the output for listening, empty for the system's default."""
        return str(self._store.value("listen/output", "") or "")

    @listen_output.setter
    def listen_output(self, name: str) -> None:
        self._store.setValue("listen/output", name)

    @property
    def heard_caution(self) -> bool:
        """The caution before the first listening was read."""
        return str(self._store.value("listen/caution", "")) == "read"

    @heard_caution.setter
    def heard_caution(self, read: bool) -> None:
        self._store.setValue("listen/caution", "read" if read else "")

    @property
    def recent(self) -> tuple[str, ...]:
        """Paths of takes and plans, newest first."""
        found = self._store.value("recent", [])
        if isinstance(found, str):
            return (found,) if found else ()
        return tuple(str(path) for path in found) if isinstance(found, list) else ()

    def remember(self, path: str) -> None:
        """Put a take or plan in front of the recent ones."""
        paths = [path, *(p for p in self.recent if p != path)]
        self._store.setValue("recent", paths[:MOST_RECENT])

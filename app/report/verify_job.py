"""Takes to hold against a session, as a job for a process of its own."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.models.verify_sheet import VerifySheet, verify_sheet
from app.report.job import JobFailedError
from app.report.write import Progress
from engine.session.schema import NotALogError
from engine.sources.base import SourceError
from engine.verify.verify import verify
from engine.verify.watched_session import read_session


@dataclass(frozen=True, slots=True)
class VerifyJob:
    """A session's folder, and files and folders of takes; nothing is written there."""

    session: Path
    takes: tuple[str, ...]

    @property
    def broke_off(self) -> str:
        """What to say where its process was ended by others."""
        return "comparing broke off: try again"

    @property
    def failed(self) -> str:
        """What to say before the reason where it raised."""
        return "the takes can't be compared"

    def run(self, progress: Progress) -> VerifySheet:
        """Do it.

        Raises
        ------
        JobFailedError
            Where the session can't be read, or there is no take.
        Cancelled
            From `progress`.
        """
        progress("reading the session", 0.0)
        try:
            session = read_session(self.session)
        except (NotALogError, SourceError, OSError) as error:
            raise JobFailedError(str(error)) from error
        result = verify(session, [Path(take) for take in self.takes], progress)
        if not result.takes and not result.failed:
            raise JobFailedError("no takes there: drop the card's folder, or the files themselves")
        progress("setting the sheet", 1.0)
        return verify_sheet(result)

    def tidy(self, _pid: int) -> None:
        """Nothing is written."""

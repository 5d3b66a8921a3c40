"""What the crew asks of a watch, carried out: alarms, standby, break, marks, notes, batteries."""

from __future__ import annotations

from engine.alarms import operator
from engine.alarms.book import Book
from engine.model import crew_notes
from engine.model.batteries import lasts_s
from engine.model.commands import (
    Acknowledge,
    AcknowledgeAll,
    Attend,
    Break,
    Command,
    FreshBattery,
    Mark,
    Note,
    OutOfService,
    Shelve,
    Standby,
    Unacknowledge,
    Unshelve,
)
from engine.model.crew_notes import CrewNotes
from engine.model.messages import AlarmEvent
from engine.model.tracks import Plan


class CrewCommands:
    """The crew's side of a watch: its notes, and whether it is rolling."""

    def __init__(self) -> None:
        self.notes = CrewNotes()
        self.standing_by = False

    def obey(self, command: Command, book: Book, plan: Plan, now_s: float) -> list[AlarmEvent]:
        """Do what the crew asks; a command about an alarm that is gone changes nothing."""
        match command:
            case Acknowledge(incident_id):
                return operator.acknowledge(book, incident_id, now_s)
            case AcknowledgeAll():
                return operator.acknowledge(book, None, now_s)
            case Unacknowledge(incident_id):
                return operator.unacknowledge(book, incident_id, now_s)
            case Shelve(incident_id, seconds):
                return operator.shelve(book, incident_id, seconds, now_s)
            case Unshelve(incident_id):
                return operator.unshelve(book, incident_id, now_s)
            case OutOfService(track, on):
                return operator.out_of_service(book, track, on, now_s)
            case Standby(on):
                self.standing_by = on
                return operator.set_standby(book, on, now_s)
            case Break(on):
                self.notes = crew_notes.set_break(self.notes, on, now_s)
                return operator.set_break(book, on, now_s)
            case _:
                self._note_down(command, book, plan, now_s)
                return []

    def _note_down(self, command: Command, book: Book, plan: Plan, now_s: float) -> None:
        match command:
            case Mark(text, at_s):
                self.notes = crew_notes.mark(self.notes, text, now_s if at_s is None else at_s)
            case Note(incident_id, text):
                self.notes = crew_notes.note(self.notes, incident_id, text, now_s)
            case Attend(incident_id, name, stage):
                self.notes = crew_notes.attend(self.notes, incident_id, name, stage, now_s)
            case FreshBattery():
                self._fresh_battery(command, book, plan, now_s)

    def _fresh_battery(self, fresh: FreshBattery, book: Book, plan: Plan, now_s: float) -> None:
        track_index = book.track_index_of(fresh.track)
        if track_index is not None:
            length_s = lasts_s(fresh.lasts or plan.tracks[track_index].battery)
            at_s = now_s if fresh.at_s is None else min(fresh.at_s, now_s)
            self.notes = crew_notes.fresh_battery(self.notes, fresh.track, at_s, length_s)

"""A watch in the terminal: one line a state change, a summary at the end."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from app.alerts.notification_service import NotificationService, has_bus, message
from app.alerts.unseen import UnseenAlarms
from app.cli import watch_json
from app.cli.companions import Companions
from app.cli.watch_text import event_lines, standing_lines, summary, warnings
from app.models.fix_cards import cards
from engine.model.commands import Open, Stop, Watch
from engine.model.messages import Incident
from engine.model.safe_text import without_numbers
from engine.model.snapshot import Snapshot
from engine.report.content.logged_timecode import LoggedTimecode, labels_of
from engine.runtime.client import EngineClient
from engine.session.folders import not_kept
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError

POLL_S: Final = 0.05
FROZEN_S: Final = 2.0
"""Without a snapshot for this long the engine is said not to answer; ours."""


def watch_in_terminal(request: Open, arguments: argparse.Namespace) -> bool:
    """Watch until the take ends or Ctrl+C; returns whether anything went red.

    Ctrl+C ends the watch, unless a window looks at it as well. OSError where it can't be opened.
    """
    client = EngineClient(request, "terminal")
    as_json: bool = arguments.json_lines
    watch = print_all(client, Companions(arguments, client), as_json=as_json)
    if watch is None:
        return False
    if client.goes_on:
        _say("the watch goes on without this terminal: `trackwarden watch` joins it again")
    incidents, watched, lost, label = _logged(client.folder, watch)
    if as_json:
        print(watch_json.end_line(incidents, watched, lost, label))
    else:
        print(summary(incidents, watch.plan, watched, lost, label))
    return any(incident.red_s is not None for incident in incidents)


def _logged(
    folder: Path, watch: Watch
) -> tuple[tuple[Incident, ...], float, float, Callable[[float], str]]:
    """Incidents, seconds watched and lost, and how times are labelled, by the session's log.

    A watch that was ended before its log began, on a busy computer, is no error.
    """
    try:
        with SessionReader(folder) as log:
            found = log.incidents(), log.watched_s(), log.lost_s()
        return *found, labels_of(folder)
    except NotALogError as error:
        _say(f"its log holds nothing to sum up: {error}")
        live, rate = watch.live, watch.plan.frame_rate
        return (), 0.0, 0.0, LoggedTimecode((), watch.start_s, rate, live=live)


def print_all(
    client: EngineClient, beside: Companions, *, as_json: bool = False, drill: bool = False
) -> Watch | None:
    """Print what happens until the watch ends or Ctrl+C, and close it; None: it never began.

    In a `drill` the first line and each alert say so.
    """
    printer = _Printer(client, beside, as_json=as_json, drill=drill)
    before = signal.signal(signal.SIGINT, lambda *_: printer.leave())
    try:
        printer.run()
    finally:
        printer.close()
        client.close()
        signal.signal(signal.SIGINT, before)
    return printer.watch


class _Printer:
    """Prints what each snapshot says that the one before did not."""

    def __init__(
        self, client: EngineClient, beside: Companions, *, as_json: bool, drill: bool = False
    ) -> None:
        self._beside = beside
        self._as_json, self._drill = as_json, drill
        self.watch: Watch | None = None
        self._client = client
        self._told = ""
        self._heard_at = time.monotonic()
        self._frozen = self._stopped = False
        self._stands_due = client.joined
        self._desktop = NotificationService(self._desktop_changed) if _has_desktop() else None
        self._unseen = UnseenAlarms()
        self._left = False

    def leave(self) -> None:
        """Ctrl+C."""
        self._client.send(Stop(if_alone=True))
        self._left = True

    def run(self) -> None:
        """Print until the watch ends, or until told to leave."""
        client = self._client
        while not self._left:
            watch = client.watch()
            if watch is not None and self.watch is None:
                self._begin(watch)
            self._look_at_engine()
            if watch is None:
                self._warn(client.progress)
            snapshot = client.latest()
            if snapshot is not None:
                self._take_in(snapshot)
                self._left |= snapshot.ended
            elif watch is not None:
                self._look_for_life()
            self._beside.look(time.monotonic())
            time.sleep(POLL_S)

    def _begin(self, watch: Watch) -> None:
        self.watch = watch
        if unkept := not_kept():
            _say(f"nothing is kept: {unkept}")
        if self._as_json:
            print(watch_json.begin_line(watch), flush=True)
            return
        how = "joined the running watch of" if self._client.joined else "watching"
        how = f"DRILL · {how}" if self._drill else how
        print(f"{how} {watch.source}, {len(watch.plan.tracks)} tracks, {watch.rate}", flush=True)

    def _desktop_changed(self, works: bool, words: str) -> None:
        if not works:
            _say(f"no desktop alerts: {words}")

    def _alert(self, snapshot: Snapshot, watch: Watch) -> None:
        """Show the worst that waits on the desktop as well, once anything is new."""
        if self._desktop is None or not snapshot.events:
            return
        news = self._unseen.news(cards(watch.plan, snapshot))
        if news is not None:
            self._desktop.show(message(*news, self._drill))
        elif not self._unseen.waits:
            self._desktop.clear()

    def close(self) -> None:
        """Let go of the desktop and of what runs beside."""
        self._beside.close()
        if self._desktop is not None:
            self._desktop.close()

    def _look_at_engine(self) -> None:
        """Say each death of the engine, and have what stands said anew once another one runs."""
        stopped = self._client.stopped
        if stopped and not self._stopped:
            _say(stopped)
            self._stands_due = True
        self._stopped = bool(stopped)

    def _look_for_life(self) -> None:
        """Say once that an engine which lives does not answer."""
        silent_s = time.monotonic() - self._heard_at
        if silent_s > FROZEN_S and not self._frozen and not self._stopped:
            self._frozen = True
            _say(f"the engine has not answered for {silent_s:.0f} s: nothing is watched meanwhile")

    def _warn(self, words: str) -> None:
        if words and without_numbers(words) != without_numbers(self._told):
            _say(words)
            if self._as_json and self.watch is not None:
                print(watch_json.notice_line(words), flush=True)
        self._told = words

    def _take_in(self, snapshot: Snapshot) -> None:
        """Print the state changes since the last one."""
        watch = self.watch
        assert watch is not None
        self._heard_at, silent_s = time.monotonic(), time.monotonic() - self._heard_at
        if self._frozen:
            self._frozen = False
            _say(f"the engine answers again, after {silent_s:.0f} s")
        if self._stands_due:
            self._stands_due = False
            for line in () if self._as_json else standing_lines(snapshot, watch.plan):
                print(line, flush=True)
        self._warn(" · ".join(warnings(snapshot)))
        if self._as_json:
            for event in snapshot.events:
                print(watch_json.event_line(event), flush=True)
        else:
            for line in event_lines(snapshot.events, watch.plan):
                print(line, flush=True)
        self._alert(snapshot, watch)


def _has_desktop() -> bool:
    """Somebody sits before a desktop: a session bus is named, and it speaks our protocol."""
    return has_bus() and bool(os.environ.get("DBUS_SESSION_BUS_ADDRESS"))


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)

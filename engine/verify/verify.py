"""Holds takes against a session: where each lies, and whether it has what was heard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.frame_rates import FRAME_RATES
from engine.model.messages import Incident, Kind, Measurement
from engine.model.safe_text import harmless
from engine.model.tracks import Plan, Track
from engine.pipeline.scan import scan_take
from engine.pipeline.scan_result import ScanResult
from engine.report.content.logged_timecode import LoggedTimecode
from engine.session.reader import SessionReader
from engine.session.records import SessionRecord
from engine.sources.base import SourceError, SourceInfo
from engine.sources.take import open_take
from engine.timecode.clock import Origin
from engine.verify.align import Position, find
from engine.verify.card import file_findings, size_of, takes_of
from engine.verify.channel_match import ChannelMatch, match_channels
from engine.verify.channel_verdicts import channel_findings
from engine.verify.fault_match import Differ, compare_faults
from engine.verify.follow import Course, aligned, follow
from engine.verify.result import Difference, Finding, TakeResult, Verification
from engine.verify.take_coverage import Span, not_taken, rolling_spans
from engine.verify.timecode_offset import frames_ahead, in_words
from engine.verify.traces import SessionTrace, TakeTrace, Trace, session_trace

Progress = Callable[[str, float], None]
"""Told what is being done, and which share of all takes is done; may raise to stop."""

WRONG_RATES: Final = (48.0 / 44.1, 44.1 / 48.0)
"""Tried where a take lies nowhere: its header may state another rate than it was recorded at."""

FRAMES_OFF: Final = 2
"""Labels that are one frame apart may both be right: each is rounded down."""


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """What a session heard, as far as takes are held against it."""

    name: str
    record: SessionRecord
    tracks: tuple[Track, ...]
    trace: SessionTrace
    incidents: tuple[Incident, ...]
    rolling: tuple[Span, ...]
    label: LoggedTimecode


def read_session(folder: Path) -> Session:
    """The session in that folder.

    Raises
    ------
    NotALogError
        Where its log is torn, foreign or can't be read.
    SourceError
        Where it never began.
    """
    with SessionReader(folder) as log:
        record = log.session()
        if record is None:
            raise SourceError(f"{folder.name}: the session never began: nothing to verify against")
        return Session(
            folder.name,
            record,
            log.tracks(),
            session_trace(log),
            log.incidents(),
            rolling_spans(log),
            LoggedTimecode(log.labels(), record.start_s, record.frame_rate, live=record.live),
        )


def verify(
    session: Session, paths: Sequence[Path], progress: Progress | None = None
) -> Verification:
    """All takes among those files and folders against the session.

    What can't be read is named in the result; the others go on.
    """
    takes, failed = takes_of(paths)
    sizes = [size_of(path) for path in takes]
    results: list[TakeResult] = []
    for number, path in enumerate(takes):
        before, whole = sum(sizes[:number]), sum(sizes)
        tell = _part(progress, path.name, before / whole, sizes[number] / whole)
        try:
            results.append(verify_take(session, path, tell))
        except (SourceError, OSError) as error:
            failed.append((harmless(str(path)), harmless(str(error))))
    infos = [result.scan.info for result in results]
    results = [
        replace(
            result,
            findings=(*file_findings(result.path, result.scan.info, infos), *result.findings),
        )
        for result in results
    ]
    results.sort(key=lambda result: (result.span_s or (float("inf"), 0.0))[0])
    missing = _missing(session, results)
    made = Verification(
        session=session.name,
        title=session.record.title,
        takes=tuple(results),
        findings=missing,
        failed=tuple(failed),
        coarse=session.trace.is_coarse,
        rolling=session.rolling,
        tracks=tuple((track.input, track.label) for track in session.tracks),
    )
    moments = {m for f in made.all_findings for m in (f.from_s, f.until_s) if m is not None}
    moments.update(m for take in results for m in take.span_s or ())
    return replace(made, labels=tuple((at_s, session.label(at_s)) for at_s in sorted(moments)))


def _part(
    progress: Progress | None, name: str, start: float, length: float
) -> Callable[[float], None]:
    """Tells the share of one take as a part of the whole."""

    def tell(share: float) -> None:
        if progress is not None:
            progress(name, start + length * min(share, 1.0))

    tell(0.0)
    return tell


def verify_take(
    session: Session, path: Path, progress: Callable[[float], None] | None = None
) -> TakeResult:
    """One take; `progress` is told which share of it was read, and may raise to stop.

    Raises
    ------
    SourceError
        Where it can't be read to its end.
    """
    with_info = open_take(path, read_ahead=0)
    info = with_info.info
    with_info.close()
    owners = _owners(info, session.tracks)
    traces: list[TakeTrace] = []

    def add(measurement: Measurement) -> None:
        if not traces:
            traces.append(TakeTrace(info.channels, measurement.hop_s))
        traces[0].add(measurement)

    length_s = (info.frames or 0) / info.sample_rate_hz

    def read(seconds: float) -> None:
        if progress is not None:
            progress(seconds / length_s if length_s else 0.0)

    scan = scan_take(path, _plan(info, session, owners), read, on_measurement=add)
    if not traces:
        raise SourceError(f"{path}: too short to be held against a session")
    return _compare(session, str(path), scan, traces[0], owners)


def _owners(info: SourceInfo, tracks: Sequence[Track]) -> dict[int, Track]:
    """The track that belongs on each channel of the take (from 1): by its name, else by number."""
    by_name = {track.name.casefold(): track for track in tracks if track.name}
    named = {
        channel: by_name[name.casefold()]
        for channel, name in enumerate(info.channel_names, start=1)
        if name and name.casefold() in by_name
    }
    if len(named) >= 2 and len(set(named.values())) == len(named):
        return named
    return {track.input: track for track in tracks if track.input <= info.channels}


def _plan(info: SourceInfo, session: Session, owners: dict[int, Track]) -> Plan:
    """Every channel of the take, as the track of the session that belongs there."""
    tracks = tuple(
        replace(owners[channel], input=channel)
        if channel in owners
        else Track(channel, kind=Kind.UNUSED)
        for channel in range(1, info.channels + 1)
    )
    return Plan(tracks, frame_rate=info.frame_rate or session.record.frame_rate)


def _compare(
    session: Session, path: str, scan: ScanResult, trace: TakeTrace, owners: dict[int, Track]
) -> TakeResult:
    position = find(session.trace, trace)
    if position is None:
        return _elsewhere(session, path, scan, trace)
    course = follow(session.trace, trace, position)
    findings = _course_findings(path, course)
    matches: tuple[ChannelMatch, ...] = ()
    if not session.trace.is_coarse:
        first, here, there = aligned(session.trace, trace, course)
        column = {track.input: channel - 1 for channel, track in owners.items()}
        matches = match_channels(here, there, session.trace.inputs, column)
        names = {track.input: track.label for track in session.tracks}
        step_s = session.trace.step_s
        begin_s = first * step_s
        findings += channel_findings(
            path, matches, here, there, session.trace.inputs, names, begin_s, step_s
        )
        placed = {m.own + 1: m.input for m in matches if m.own is not None and m.own in m.on[:1]}
        findings += compare_faults(
            path,
            session.incidents,
            scan.incidents,
            course,
            scan.duration_s,
            placed,
            names,
            _levels_differ(matches, here, there, session.trace, first),
        )
    frames = _timecode(session, scan, course)
    if frames is not None and abs(frames) >= FRAMES_OFF:
        rate = FRAME_RATES[scan.frame_rate]
        late = "ahead of" if frames > 0 else "behind"
        text = f"its timecode is {in_words(frames, rate)} {late} that of the session"
        findings.append(Finding(Difference.TIMECODE, text, path))
    return TakeResult(path, scan, course, position.match, frames, matches, tuple(findings))


def _levels_differ(
    matches: Sequence[ChannelMatch], here: Trace, there: Trace, trace: SessionTrace, first: int
) -> Differ:
    by_input = {match.input: match for match in matches}
    column = {number: n for n, number in enumerate(trace.inputs)}

    def differ(number: int, from_s: float, until_s: float) -> NDArray[np.float64]:
        match = by_input[number]
        begin = max(int(from_s / trace.step_s) - first, 0)
        steps = slice(begin, max(int(until_s / trace.step_s) - first, begin) + 1)
        apart = there[steps, match.own or 0] - here[steps, column[number]] - match.gain_db
        return np.asarray(apart, dtype=np.float64)

    return differ


def _elsewhere(session: Session, path: str, scan: ScanResult, trace: TakeTrace) -> TakeResult:
    """A take that lies nowhere: perhaps its rate is labelled wrong, else it is another night's."""
    found: Position | None = None
    if not session.trace.is_coarse:
        for stretch in WRONG_RATES:
            found = found or find(session.trace, trace, stretch)
    if found is None:
        text = "is not in this session: another night's, or from before or after the watch"
        finding = Finding(Difference.NOT_IN_SESSION, text, path)
        return TakeResult(path, scan, None, 0.0, None, (), (finding,))
    rate_hz = scan.info.sample_rate_hz
    true_hz = round(rate_hz / found.stretch)
    wrong = "slow" if true_hz > rate_hz else "fast"
    text = f"says {rate_hz} Hz, but was recorded at {true_hz} Hz: it plays too {wrong}"
    finding = Finding(Difference.SAMPLE_RATE, text, path)
    course = Course(found.start_s, 1e6 * (1.0 - found.stretch), ())
    return TakeResult(path, scan, course, found.match, None, (), (finding,))


def _course_findings(path: str, course: Course) -> list[Finding]:
    findings = []
    for jump in course.jumps:
        at_s = course.session_s(jump.at_s - 1e-6)
        if jump.lost_s > 0.0:
            text = f"{1000.0 * jump.lost_s:.0f} ms are missing inside the file"
            where = (path, None, None, at_s, at_s + jump.lost_s)
            findings.append(Finding(Difference.GAP, text, *where))
        else:
            text = f"{-1000.0 * jump.lost_s:.0f} ms are in the file twice"
            where = (path, None, None, at_s + jump.lost_s, at_s)
            findings.append(Finding(Difference.REPEAT, text, *where))
    return findings


def _timecode(session: Session, scan: ScanResult, course: Course) -> int | None:
    from_code = scan.clock.label_at(scan.duration_s / 2.0)[1] in (Origin.LTC, Origin.FREE_RUNNING)
    if scan.info.start_samples is None and not from_code:
        return None
    if scan.frame_rate != session.record.frame_rate:
        return None
    rate = FRAME_RATES[scan.frame_rate]
    return frames_ahead(scan.timecode, session.label, course, scan.duration_s, rate)


def _missing(session: Session, results: Sequence[TakeResult]) -> tuple[Finding, ...]:
    spans = [result.span_s for result in results if result.span_s is not None]
    return tuple(
        Finding(
            Difference.NOT_TAKEN,
            f"{_length(end_s - begin_s)} of the session in no take",
            from_s=begin_s,
            until_s=end_s,
        )
        for begin_s, end_s in not_taken(session.rolling, spans)
    )


def _length(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90.0 else f"{seconds / 60.0:.1f} minutes"

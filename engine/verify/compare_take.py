"""Holds one take against a session: where it lies, and what it has of what was heard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.frame_rates import FRAME_RATES, FrameRate
from engine.model.messages import Kind, Measurement
from engine.model.tracks import Plan, Track
from engine.pipeline.scan import scan_take
from engine.pipeline.scan_result import ScanResult
from engine.sources.base import SourceError, SourceInfo
from engine.sources.take import open_take
from engine.sources.take_files import Take, path_of
from engine.timecode.clock import Origin
from engine.verify.align import Position, find
from engine.verify.channel_match import ChannelMatch, match_channels
from engine.verify.channel_verdicts import channel_findings, mix_findings
from engine.verify.fault_match import Differ, compare_faults
from engine.verify.follow import PULLS, Course, aligned, follow, pull_of
from engine.verify.result import Difference, Finding, TakeResult
from engine.verify.timecode_offset import frames_ahead, in_words
from engine.verify.traces import SessionTrace, TakeTrace, Trace
from engine.verify.track_names import name_findings, own_names, owners_of
from engine.verify.watched_session import Session

WRONG_RATES: Final = (48.0 / 44.1, 44.1 / 48.0, *PULLS)
"""Tried where a take lies nowhere: its header may state another rate than it was recorded at.
Seconds that were recorded in a second of the file as it is labelled."""

FRAMES_OFF: Final = 2
"""Labels that are one frame apart may both be right: each is rounded down. Of a session with a
level a second alone a take is placed to half a second; there it takes a second."""


def verify_take(
    session: Session, take: Take, progress: Callable[[float], None] | None = None
) -> TakeResult:
    """One take; `progress` is told which share of it was read, and may raise to stop.

    Raises
    ------
    SourceError
        Where it can't be read to its end.
    """
    path = path_of(take)
    with_info = open_take(take, read_ahead=0)
    info = with_info.info
    with_info.close()
    names = own_names(info.channel_names, session.tracks)
    owners = owners_of(names, session.tracks, info.channels)
    traces: list[TakeTrace] = []

    def add(measurement: Measurement) -> None:
        if not traces:
            traces.append(TakeTrace(info.channels, measurement.hop_s))
        traces[0].add(measurement)

    length_s = (info.frames or 0) / info.sample_rate_hz

    def read(seconds: float) -> None:
        if progress is not None:
            progress(seconds / length_s if length_s else 0.0)

    scan = scan_take(take, _plan(info, session, owners), read, on_measurement=add)
    if not traces:
        raise SourceError(f"{path}: too short to be held against a session")
    return _compare(session, str(path), scan, traces[0], owners)


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
    placed = _placed(session.trace, trace)
    if placed is None:
        text = "is not in this session: another night's, or from before or after the watch"
        finding = Finding(Difference.NOT_IN_SESSION, text, path)
        return TakeResult(path, scan, None, 0.0, None, (), (finding,))
    position, trace, stretch = placed
    followed = follow(session.trace, trace, position)
    course = followed.read_with(stretch)
    findings = _course_findings(path, course)
    names = own_names(scan.info.channel_names, session.tracks)
    findings += name_findings(path, names, session.tracks, owners)
    frames = None
    if stretch != 1.0:
        findings.append(_wrong_rate(path, scan.info.sample_rate_hz, stretch))
    else:
        frames = _timecode(session, scan, course)
        rate = FRAME_RATES[scan.frame_rate]
        sure = rate.labels_per_s if session.trace.is_coarse else FRAMES_OFF
        findings += _timecode_findings(path, frames, rate, sure)
    matches: tuple[ChannelMatch, ...] = ()
    if not session.trace.is_coarse:
        step, here, there = aligned(session.trace, trace, followed)
        matches, found = _channels(session, path, scan, course, owners, (step, here, there))
        findings += [*found, *mix_findings(path, matches, trace)]
    return TakeResult(path, scan, course, position.match, frames, matches, tuple(findings))


def _placed(session: SessionTrace, trace: TakeTrace) -> tuple[Position, TakeTrace, float] | None:
    """Where the take lies, its levels as they were recorded, and how far its own rate is wrong."""
    position = find(session, trace)
    if position is not None:
        stretch = pull_of(session, trace, position)
        return position, trace if stretch == 1.0 else trace.stretched(stretch), stretch
    for stretch in () if session.is_coarse else WRONG_RATES:
        read_right = trace.stretched(stretch)
        position = find(session, read_right)
        if position is not None:
            return position, read_right, stretch
    return None


def _wrong_rate(path: str, rate_hz: int, stretch: float) -> Finding:
    true_hz = round(rate_hz / stretch)
    wrong = "slow" if true_hz > rate_hz else "fast"
    text = f"says {rate_hz} Hz, but was recorded at {true_hz} Hz: it plays too {wrong}"
    return Finding(Difference.SAMPLE_RATE, text, path)


def _timecode_findings(path: str, frames: int | None, rate: FrameRate, sure: int) -> list[Finding]:
    if frames is None or abs(frames) < sure:
        return []
    late = "ahead of" if frames > 0 else "behind"
    text = f"its timecode is {in_words(frames, rate)} {late} that of the session"
    return [Finding(Difference.TIMECODE, text, path)]


def _channels(
    session: Session,
    path: str,
    scan: ScanResult,
    course: Course,
    owners: dict[int, Track],
    levels: tuple[int, Trace, Trace],
) -> tuple[tuple[ChannelMatch, ...], list[Finding]]:
    """Track by track: `levels` are the first step of the session, its levels, and the take's."""
    first, here, there = levels
    inputs, step_s = session.trace.inputs, session.trace.step_s
    column = {track.input: channel - 1 for channel, track in owners.items()}
    matches = match_channels(here, there, inputs, column)
    names = {track.input: track.label for track in session.tracks}
    findings = channel_findings(path, matches, here, there, inputs, names, first * step_s, step_s)
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
    return matches, findings


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

"""From what the user asked for to a source and a plan that fit each other."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from engine.model.commands import Open
from engine.model.messages import Kind
from engine.model.safe_text import harmless
from engine.model.tracks import BY_TIMECODE, Plan, plan_for
from engine.pipeline.take_probe import probe_take
from engine.plan.agreement import at_the_files_rate, names_apart, with_code
from engine.plan.load import load_plan
from engine.plan.template import new_plan
from engine.sources.base import HOST_API, Source, SourceError, SourceInfo
from engine.sources.capture import CapturedSource, find_input
from engine.sources.growing import GrowingTake
from engine.sources.paced import Paced
from engine.sources.take import TakeSource, open_take
from engine.sources.take_files import files_of

if TYPE_CHECKING:
    from engine.drill.drill_source import DrillSource

REPLAY_BLOCK_S = 0.02
"""Blocks of a replay are as short as a device's, so that the board moves as it does live."""


def with_demo(request: Open, progress: Callable[[str], None] | None = None) -> Open:
    """The request with the demo take's own files filled in; renders them on first use.

    What `progress` raises ends the rendering and leaves nothing of it.

    Raises
    ------
    SourceError
        Where the take can't be written; one line that says what to do.
    """
    if not request.demo:
        return request
    from demo_audio import DemoTakeError, demo_take  # only here: nothing else needs it

    try:
        demo = demo_take(progress=progress, healthy=request.seed is not None)
    except DemoTakeError as error:
        raise SourceError(str(error)) from error
    return replace(request, demo=False, take=str(demo.take), plan=request.plan or str(demo.plan))


def open_source(request: Open) -> Source:
    """Open what the request names: a live input, or a take paced by the clock.

    Raises
    ------
    SourceError
        One line that says what to do.
    """
    if request.device is not None:
        device = find_input(request.device)
        return CapturedSource(device.name, device.host_api)
    if request.take is None:
        raise SourceError("nothing to watch: name a take or a live input")
    if request.follow:
        return GrowingTake(request.take, request.start_s, time.monotonic, time.sleep)
    files = files_of(request.take)
    take = open_take(files, from_s=request.start_s, block_s=REPLAY_BLOCK_S)
    take.info = probe_take(files)
    paced = Paced(take, request.speed, time.monotonic, time.sleep)
    return paced if request.seed is None else _drill(request, request.seed, paced, take)


def _drill(request: Open, seed: int, paced: Paced, take: TakeSource) -> DrillSource:
    """The take with the faults of that seed put in."""
    from engine.drill.drill_source import DrillSource, look_into  # only drills put faults in
    from engine.drill.schedule import DrillError, schedule

    info = take.info
    try:
        assert info.frames is not None
        assert request.take is not None
        plan = fitting_plan(request.plan, info)
        by_code = plan.rolling == BY_TIMECODE  # without code it would sleep through the drill
        tracks = [t for t in plan.tracks if not (by_code and t.kind is Kind.TIMECODE)]
        length_s = info.frames / info.sample_rate_hz
        planned = schedule(tracks, length_s, seed, request.level)
        look = look_into(request.take, info.sample_rate_hz)
        return DrillSource(paced, planned, look, seed, take.first_frame)
    except DrillError as error:
        paced.close()
        raise SourceError(str(error)) from error
    except BaseException:
        paced.close()
        raise


def open_again(info: SourceInfo) -> Source:
    """Open the live input that was lost: by its name, with the same channels and rate.

    Does not wait: reading it tells whether it is there and can be opened so.
    """
    return CapturedSource(info.name, info.fields.get(HOST_API, ""), again=info)


def fitting_plan(path: str | Path | None, info: SourceInfo) -> Plan:
    """The plan of that file, checked against the source; see `fit_plan`."""
    return fit_plan(path, info)[0]


def fit_plan(path: str | Path | None, info: SourceInfo) -> tuple[Plan, tuple[str, ...]]:
    """The plan to watch by, and in one line each where file and source don't agree.

    Without a file, a lav for every channel.

    Raises
    ------
    PlanError
        With every mistake of the file.
    SourceError
        Where the take states a frame rate that no standard counts, and the plan none.
    """
    if path is None:
        plan = plan_for(info.channel_names, title="" if info.live else Path(info.name).stem)
    else:
        plan = load_plan(Path(path), inputs=info.channels)
    lines: list[str] = []
    if info.odd_rate:
        odd = f"states {info.odd_rate} frames a second, which no standard counts"
        if not plan.stated_rate:
            raise SourceError(f"{info.name}: {odd}: give a plan with frame_rate")
        lines.append(f"the file {odd}: labels count by the plan's {plan.frame_rate}")
    plan, rate_lines = at_the_files_rate(plan, info.frame_rate)
    names = names_apart(plan, info.channel_names)
    plan, code_lines = with_code(plan, info.code_channels)
    return plan, tuple(map(harmless, (*lines, *rate_lines, *names, *code_lines)))


def plan_of_input(channels: int, used: Sequence[int] = ()) -> str:
    """The text of a new plan for a live input of so many channels, or for those in use alone."""
    if not used:
        return new_plan([""] * channels)
    from engine.plan.edit import set_rows  # its library would slow down every start

    return set_rows(new_plan([""] * len(used)), [{"input": number} for number in used])


def plan_from(path: str) -> tuple[str, int]:
    """The text of a new plan with the names of that file, and its highest input.

    A take or a folder of mono files names its tracks; a table (`engine.plan.table_file`) has a row
    for each; another plan is taken over without its date.

    Raises
    ------
    SourceError
        Where there is no such file, or it is damaged.
    PlanError
        With every mistake of the other plan.
    """
    from engine.plan.edit import set_take  # its library would slow down every start
    from engine.plan.table_file import TABLES, TableFileError, plan_of_table

    ending = Path(path).suffix.lower()
    if ending == ".toml":
        plan = load_plan(Path(path))
        text = Path(path).read_text(encoding="utf-8-sig")
        return set_take(text, "date", ""), max(track.input for track in plan.tracks)
    if ending not in TABLES:
        return plan_of_take(path)
    try:
        return plan_of_table(path)
    except TableFileError as error:
        raise SourceError(str(error)) from error


def plan_of_take(path: str) -> tuple[str, int]:
    """The text of a new plan for a take, named as its file names its tracks; and its channels.

    Raises
    ------
    SourceError
        Where there is no such take, or it is damaged.
    """
    take = open_take(path, read_ahead=0)
    take.close()
    info = take.info
    rate = info.frame_rate or ("" if info.odd_rate else "25")
    text = new_plan(list(info.channel_names), Path(path).stem, rate)
    return text, info.channels


def plan_text(path: str | Path | None, plan: Plan) -> str:
    """The plan as it is now: the file's own text, or without one the text of such a plan."""
    if path is not None:
        return Path(path).read_text(encoding="utf-8-sig")
    return new_plan([track.name for track in plan.tracks], plan.title, plan.frame_rate)

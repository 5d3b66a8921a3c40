"""Changes the plan of a watch while it runs; a plan that can't be followed changes nothing."""

from __future__ import annotations

import copy
import traceback
from collections.abc import Sequence
from dataclasses import replace

from engine.detectors.guard import reason_of
from engine.model.commands import ChangePlan, SwapInputs, Watch
from engine.model.messages import AlarmEvent
from engine.model.safe_text import harmless
from engine.model.tracks import Plan
from engine.pipeline.pipeline import Pipeline
from engine.plan.agreement import with_code
from engine.plan.change import PlanChangeError
from engine.plan.load import PlanError, parse_plan
from engine.session.loudness_totals import LoudnessTotals
from engine.session.recorder import SessionRecorder
from engine.sources.base import SourceInfo


class PlanChanger:
    """The plan as windows see it, and the one way to change it.

    Parameters
    ----------
    watch : Watch
    info : SourceInfo
        A plan may name no input beyond its channels.
    pipeline : Pipeline
    recorder : SessionRecorder or None
        Told of each change.
    """

    def __init__(
        self, watch: Watch, info: SourceInfo, pipeline: Pipeline, recorder: SessionRecorder | None
    ) -> None:
        self.watch = watch
        self.notice = ""
        """Why the last change was refused, one line; empty where it was not."""
        self._channels, self._code_channels = info.channels, info.code_channels
        self._pipeline, self._recorder = pipeline, recorder

    def change(self, asked: ChangePlan | SwapInputs, at_s: float) -> list[AlarmEvent] | None:
        """Go by the plan that was asked for; returns what happened, None where it was refused."""
        try:
            text = self._text(asked)
            plan = self._as_before(parse_plan(text, self._channels))
            return self._go_by(plan, text, at_s)
        except (PlanError, PlanChangeError) as error:
            self._refuse(str(error).splitlines()[0].removeprefix("plan: "))
            return None
        except Exception as error:  # MemoryError, too: the watch goes on by the plan it has
            traceback.print_exc()
            self._refuse(reason_of(error))
            return None

    def found_code(self, channels: Sequence[int], at_s: float) -> list[AlarmEvent] | None:
        """Read those channels as code from now on; None where the plan has them so already."""
        codes = tuple(sorted({*self._code_channels, *channels}))
        plan, lines = with_code(self.watch.plan, codes)
        self._code_channels = codes
        if not lines:
            return None
        try:
            events = self._go_by(plan, self.watch.plan_text, at_s)
        except Exception as error:  # the watch goes on by the plan it has
            traceback.print_exc()
            self._refuse(reason_of(error))
            return None
        self.notice = " · ".join(map(harmless, lines))
        return events

    def _go_by(self, plan: Plan, text: str, at_s: float) -> list[AlarmEvent]:
        figures = None if self._recorder is None else self._recorder.figures()
        copy.deepcopy(self._pipeline).change_plan(plan, at_s)  # where it fails, it fails here
        events = self._pipeline.change_plan(plan, at_s)
        self.watch = replace(self.watch, plan=plan, plan_text=text)
        self.notice = ""
        self._record(at_s, figures)
        return events

    def _as_before(self, plan: Plan) -> Plan:
        """At the rate that holds, unless the plan's own changed; what carries code stays code."""
        before = self.watch.plan
        if plan.stated_rate == before.stated_rate:
            plan = replace(plan, frame_rate=before.frame_rate)
        return with_code(plan, self._code_channels)[0]

    def _refuse(self, why: str) -> None:
        self.notice = f"plan not changed: {why}"

    def _text(self, asked: ChangePlan | SwapInputs) -> str:
        if isinstance(asked, ChangePlan):
            return asked.text
        from engine.plan.edit import swap_inputs  # its library would slow down every start

        return swap_inputs(self.watch.plan_text, asked.one, asked.other)

    def _record(self, at_s: float, figures: LoudnessTotals | None) -> None:
        if self._recorder is not None and figures is not None:
            self._recorder.changed_plan(self.watch, at_s, figures)

"""A whole watch of samples that lie in memory: what it found."""

from __future__ import annotations

from engine.measure.meter import Totals
from engine.model.messages import Block, Incident, Samples
from engine.model.tracks import Plan
from engine.pipeline.pipeline import Pipeline

Result = tuple[tuple[Incident, ...], Totals]


def watched(pipeline: Pipeline, blocks: list[Block]) -> Result:
    """All incidents and totals of a watch."""
    for block in blocks:
        pipeline.feed(block)
    pipeline.finish()
    return pipeline.incidents(), pipeline.totals()


def whole(samples: Samples, rate_hz: int, plan: Plan) -> Result:
    """The same in one block."""
    return watched(Pipeline(plan, rate_hz), [Block(samples)])

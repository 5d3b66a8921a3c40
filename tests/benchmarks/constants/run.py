"""What each tuned constant is worth: moved by a fifth up and down, how far the rates move.

    python -m tests.benchmarks.constants hum tone dc
    python -m tests.benchmarks.constants duplicate --seeds 2 --first-seed 9900 --base
    python -m tests.benchmarks.constants hum --only rise_db,STEP_S --step 0.5
    python -m tests.benchmarks.constants hum tone --base --against HEAD~3

The takes are the night's (`tests.benchmarks.night`): those whose fitting words have the fault, one
of each family a seed, some harmless ones in turn, and healthy minutes. Each is made and measured
once; then the one detector and the book of alarms run over its ticks for every constant moved
(`knobs`), so a figure tells of that detector alone. Rates are in points against the constant as it
is: found, in time, onset right (by the night's own rules), and the number of false alarms;
`differs` counts takes in which any time or word of an alarm was another one.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from engine.alarms.book import Book
from engine.alarms.common_cause import CauseAlarms
from engine.detectors.base import TickContext
from engine.detectors.registry import FORESIGHTED
from engine.measure.tick_block import TickBlock
from engine.model.fault_remedies import FAULTS
from engine.model.messages import Incident
from engine.model.tick import Tick
from engine.model.tracks import Scene
from engine.pipeline.framing import TickFramer
from engine.plan.load import parse_plan
from tests.benchmarks.constants.knobs import (
    STEP,
    Constant,
    Number,
    constants_of,
    detector_with,
    modules_of,
)
from tests.benchmarks.night import run as night
from tests.benchmarks.night.cases import CASES, Case
from tests.benchmarks.night.scenes import plan_text
from tests.benchmarks.night.score import Result, score

FIRST_SEED: Final = 9800
TICKS_AT_ONCE: Final = 10
Change = tuple[str, Constant | None, Number, str]
"""A fault, which constant is moved, and where to; or the commit whose detector it is."""


@dataclass(slots=True)
class Tally:
    """What one detector said over all takes."""

    results: list[Result] = field(default_factory=list)
    said: list[list[dict[str, Any]]] = field(default_factory=list)
    broken: str = ""

    def rate(self, name: str) -> float:
        """Percent of what was due that was `detected`, `in_time` or `onset_right`."""
        due = [result for result in self.results if result.due]
        return 100.0 * sum(getattr(result, name) for result in due) / len(due) if due else 0.0

    @property
    def false(self) -> int:
        """Alarms that no truth of a take lets."""
        return sum(len(result.false) + len(result.beside) for result in self.results)


def measured(take: night.Rendered, scene: Scene) -> list[Tick]:
    """The meter's ticks of a take, as a scan has them."""
    word = 2.0 ** (take.rig.bits - 1)  # as the file would hold it
    audio = (np.clip(np.round(take.audio * word), -word, word - 1.0) / word).astype(np.float32)
    return list(TickFramer(scene).feed(audio, TICKS_AT_ONCE))


def alarms(detector: Any, fault: str, scene: Scene, ticks: Sequence[Tick]) -> list[dict[str, Any]]:
    """The incidents of that one detector, with the keys that the night's score reads."""
    rule = next(rule for rule in FAULTS if rule.name == fault)
    book = Book(scene, (rule,))
    causes = CauseAlarms(book)
    foresighted = fault in FORESIGHTED

    def detail(_: Any, track_index: int) -> str:
        return str(detector.detail(track_index))

    for n, tick in enumerate(ticks):
        m = tick.measurement
        if foresighted and n % TICKS_AT_ONCE == 0:
            newest = ticks[n : n + TICKS_AT_ONCE]
            detector.look_ahead(TickBlock([one.measurement for one in newest]))
        said = detector.update(m, TickContext(m.end_s, lost_frames=tick.lost_frames))
        events = book.step({rule.name: said}, detail, m.start_s, m.end_s)
        causes.step(events, m.start_s, m.end_s)
    return [_document(incident) for incident in book.incidents()]


def _document(incident: Incident) -> dict[str, Any]:
    return {
        "fault": incident.fault.value,
        "track": incident.track,
        "tracks": list(incident.tracks),
        "severity": incident.severity.word,
        "onset_s": incident.onset_s,
        "amber_s": incident.amber_s,
        "red_s": incident.red_s,
        "end_s": incident.end_s,
        "part_of": incident.part_of,
        "detail": incident.detail,
    }


def takes(arguments: argparse.Namespace) -> Iterator[tuple[Case, int, night.Rendered]]:
    """All that are asked for, one at a time: they are large."""
    words = set(arguments.faults)
    everyone = [case for case in CASES.values() if case.harmless]
    for seed in range(arguments.first_seed, arguments.first_seed + arguments.seeds):
        chosen = [CASES[name] for name in night.select("", arguments.all, seed)]
        chosen = [c for c in chosen if words & c.words and c.evidence != "mark"]
        count = min(arguments.harmless, len(everyone))
        chosen += [everyone[(seed * count + n) % len(everyone)] for n in range(count)]
        for case in chosen:
            yield case, seed, night.rendered(case, seed, None, "turn")
        night.bed.cache_clear()
        for number in range(round(arguments.healthy_minutes * 60.0 / night.HEALTHY_S)):
            at = 1000 + 100 * seed + number
            yield night.HEALTHY, at, night.rendered_healthy(at, None, "turn")


def changes(arguments: argparse.Namespace) -> list[Change]:
    """As it is first, then each constant down and up, fault by fault."""
    only = {name for name in arguments.only.split(",") if name}
    listed: list[Change] = []
    for fault in arguments.faults:
        listed.append((fault, None, 0, ""))
        if arguments.against:
            listed.append((fault, None, 0, arguments.against))
        constants = [c for module in modules_of(fault) for c in constants_of(module)]
        for constant in () if arguments.base else constants:
            if not only or constant.name in only:
                values = dict.fromkeys(constant.moved(s * arguments.step) for s in (-1.0, 1.0))
                listed += [(fault, constant, value, "") for value in values]
    return listed


def listen(arguments: argparse.Namespace, tallies: dict[Change, Tally]) -> None:
    """Run every change over every take."""
    classes = {}
    for change, tally in tallies.items():
        try:
            classes[change] = detector_with(*change)
        except Exception as error:  # a constant may not be free to move
            tally.broken = f"{type(error).__name__}: {error}"
    for case, seed, take in takes(arguments):
        scene = Scene(parse_plan(plan_text()).tracks, take.rate)
        ticks = measured(take, scene)
        for change, made in classes.items():
            fault, tally = change[0], tallies[change]
            if tally.broken or not (case.harmless or fault in case.words):
                continue
            try:
                said = alarms(made(scene), fault, scene, ticks)
            except Exception as error:
                tally.broken = f"{type(error).__name__}: {error}"
                continue
            result = Result(case.name, seed, take.rig.name, case.harmless)
            seconds = len(take.audio) / take.rate
            tally.said.append(said)
            tally.results.append(score(case, take.truth, {"incidents": said}, result, seconds))
        print(".", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)


def table(tallies: dict[Change, Tally]) -> str:
    """One line a constant moved: rates in points, false alarms and takes that differ."""
    lines = [
        f"{'constant':34}{'from':>9}{'to':>9}{'found':>7}{'in time':>8}{'onset':>7}"
        f"{'false':>7}{'differs':>8}"
    ]
    base = Tally()
    for (fault, constant, value, commit), tally in tallies.items():
        rates = [tally.rate(name) for name in ("detected", "in_time", "onset_right")]
        if constant is None:
            base = tally if not commit else base
            found, in_time, onset = rates
            number = sum(result.due for result in tally.results)
            lines.append(
                f"{fault} {commit}: {number} due, found {found:.0f} %, in time {in_time:.0f} %, "
                f"onset {onset:.0f} %, {tally.false} false in {len(tally.results)} takes"
            )
            continue
        name = f"{constant.module}.{constant.name}"
        head = f"  {name:32}{constant.value:>9.4g}{value:>9.4g}"
        if tally.broken:
            lines.append(f"{head}  {tally.broken[:60]}")
            continue
        before = [base.rate(name) for name in ("detected", "in_time", "onset_right")]
        moved = [after - was for after, was in zip(rates, before, strict=True)]
        differs = sum(a != b for a, b in zip(tally.said, base.said, strict=False))
        lines.append(
            f"{head}{moved[0]:>+7.0f}{moved[1]:>+8.0f}{moved[2]:>+7.0f}"
            f"{tally.false - base.false:>+7d}{differs:>8d}"
        )
    return "\n".join(lines)


def misses(tallies: dict[Change, Tally]) -> str:
    """What each detector missed, was late with or said falsely as it is."""
    lines = []
    for (fault, constant, _, commit), tally in tallies.items():
        for result in tally.results if constant is None else ():
            where = f"{fault} {commit}: {result.case} (seed {result.seed}, {result.chain})"
            if result.due and not result.in_time:
                lines.append(f"{where}: {'late' if result.detected else 'missed'}")
            lines += [f"{where}: false {night_line(i)}" for i in (*result.false, *result.beside)]
    return "\n".join(lines)


def night_line(incident: dict[str, Any]) -> str:
    """One alarm in a few words."""
    where = incident["tracks"] or incident["track"]
    return f"{incident['severity']} on {where} from {incident['onset_s']:.1f} s"


def parse(argv: Sequence[str] | None) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("faults", nargs="+", help="names of rules, as hum or dead_mic")
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--harmless", type=int, default=8, help="harmless cases a seed, in turn")
    parser.add_argument("--healthy-minutes", type=float, default=200.0 / 60.0, help="each seed")
    parser.add_argument("--all", action="store_true", help="each member of each family")
    parser.add_argument("--step", type=float, default=STEP, help="how far each is moved")
    parser.add_argument("--only", default="", help="names of constants, by comma")
    parser.add_argument("--against", default="", help="a commit: its detectors as well")
    parser.add_argument("--base", action="store_true", help="move nothing: rates as they are")
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run and print, after an interrupt what there is; 0 always: the table is the result."""
    started = time.monotonic()
    arguments = parse(argv)
    tallies = {change: Tally() for change in changes(arguments)}
    try:
        listen(arguments, tallies)
    except KeyboardInterrupt:
        print(" interrupted: the last take may lack some", file=sys.stderr)
    print(table(tallies))
    print(misses(tallies))
    print(f"in {time.monotonic() - started:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

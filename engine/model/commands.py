"""What a crew asks of a running watch, and what the watch says of itself once it runs.

Plain frozen data, so that it travels between processes. Incidents go by their `id`, tracks by
the plan's `input` number.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.model.crew_notes import Stage
from engine.model.drill_causes import Cause
from engine.model.line_results import Verdict
from engine.model.round_state import SECONDS
from engine.model.tracks import Plan


@dataclass(frozen=True, slots=True)
class Open:
    """What to watch: a live input (`device`: index or part of its name), a take, or the demo take.

    `plan` is the path of a plan file. `speed`, `loop` and `start_s` hold for a take only. With a
    `seed` it is a drill: faults are put into the take, as many and as strong as `level` says;
    `blind`: the board shows levels only. `follow`: the take is still being written.
    """

    device: int | str | None = None
    take: str | None = None
    demo: bool = False
    plan: str | None = None
    speed: float = 1.0
    loop: bool = False
    start_s: float = 0.0
    seed: int | None = None
    level: str = "real"
    blind: bool = False
    follow: bool = False


@dataclass(frozen=True, slots=True)
class Watch:
    """What is being watched, said once when it has been opened.

    `source` names the input or take, `rate` its sample rate in words. `start_s` is the time of
    day (or the place in the take's timecode) of stream time 0; `duration_s` is None for a live
    input. `plan_text` is the text of the plan's file, or what it would be; `inputs` is how many
    the source has, 0 where that is not known.
    """

    plan: Plan
    source: str
    rate: str
    live: bool
    start_s: float = 0.0
    duration_s: float | None = None
    plan_text: str = ""
    inputs: int = 0


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """The crew has seen this incident."""

    incident_id: int


@dataclass(frozen=True, slots=True)
class AcknowledgeAll:
    """The crew has seen all that stands."""


@dataclass(frozen=True, slots=True)
class Unacknowledge:
    """It was called seen by mistake: it is unseen again, where it still stands."""

    incident_id: int


@dataclass(frozen=True, slots=True)
class Shelve:
    """Put this incident aside; `seconds` None: until it is put back by hand."""

    incident_id: int
    seconds: float | None


@dataclass(frozen=True, slots=True)
class Unshelve:
    """Put a shelved incident back."""

    incident_id: int


@dataclass(frozen=True, slots=True)
class OutOfService:
    """Take the track on that input out of service, or put it back."""

    track: int
    on: bool


@dataclass(frozen=True, slots=True)
class Standby:
    """`on`: the crew is not rolling."""

    on: bool


@dataclass(frozen=True, slots=True)
class Break:
    """`on`: a break; all but the ambience is held back until the crew ends it."""

    on: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark at `at_s` (None: now), with or without words."""

    text: str = ""
    at_s: float | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """Words on an incident."""

    incident_id: int
    text: str


@dataclass(frozen=True, slots=True)
class Attend:
    """An assistant works on this incident under that name; `stage` None: no longer."""

    incident_id: int
    name: str
    stage: Stage | None


@dataclass(frozen=True, slots=True)
class FreshBattery:
    """A fresh battery is in the pack of the track on that input since `at_s` (None: now).

    `lasts` is how long it lasts, in the words of a plan; empty: as the plan says.
    """

    track: int
    at_s: float | None = None
    lasts: str = ""


@dataclass(frozen=True, slots=True)
class Listen:
    """Hear the track on that input in the headphones, from that stream time on, else live.

    `match_db` is added to its gain, so that tracks of a round are equally loud.
    """

    track: int
    from_s: float | None = None
    match_db: float = 0.0


@dataclass(frozen=True, slots=True)
class StartRound:
    """Hear every watched track for so many seconds; `interrupt`: a track that goes red first."""

    seconds: float = SECONDS
    interrupt: bool = True


@dataclass(frozen=True, slots=True)
class RoundNext:
    """Go on to the next track of the round."""


@dataclass(frozen=True, slots=True)
class RoundBack:
    """Hear the track before once more."""


@dataclass(frozen=True, slots=True)
class RoundStay:
    """Stay on this track until told otherwise; once more: go on with the round."""


@dataclass(frozen=True, slots=True)
class RoundSay:
    """What the listener says of the track that plays: it sounds right, or there is doubt."""

    right: bool
    word: str = ""


@dataclass(frozen=True, slots=True)
class EndRound:
    """End the round and let go of the headphones."""


@dataclass(frozen=True, slots=True)
class SwitchPack:
    """Hear the other pack of the same `who`, at the same place and as loud."""


@dataclass(frozen=True, slots=True)
class ListenLevel:
    """Gain of the headphones, and the limit that neither gain nor peak goes over; dB."""

    level_db: float
    limit_db: float


@dataclass(frozen=True, slots=True)
class ListenDevice:
    """The output to listen on, by its name; empty for the system's default."""

    name: str = ""


@dataclass(frozen=True, slots=True)
class StopListening:
    """Fade out and let go of the output."""


@dataclass(frozen=True, slots=True)
class StartLineCheck:
    """Ask for these inputs one by one, for all in use where none are named."""

    tracks: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class LineCheckGo:
    """Ask for that input next."""

    track: int


@dataclass(frozen=True, slots=True)
class LineCheckMark:
    """What the crew says of the track asked for; the check goes on to the next.

    `track` is the input that the crew had before them: where another one is asked for by now, the
    words were not meant for it, and nothing is done. None: whichever is asked for.
    """

    verdict: Verdict
    note: str = ""
    track: int | None = None


@dataclass(frozen=True, slots=True)
class EndLineCheck:
    """Close the line check; its results stay."""


@dataclass(frozen=True, slots=True)
class SwapInputs:
    """The two tracks of these inputs are patched the other way round: swap them in the plan."""

    one: int
    other: int


@dataclass(frozen=True, slots=True)
class ChangePlan:
    """Watch by this plan from now on, the text of a plan file; audio and incidents go on."""

    text: str


@dataclass(frozen=True, slots=True)
class CallCause:
    """In a drill: what the mixer takes to be wrong on that input; for the log alone."""

    track: int | None
    cause: Cause


@dataclass(frozen=True, slots=True)
class Stop:
    """End the watch; `if_alone`: only where no other window looks at it."""

    if_alone: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """A window came, left, fell silent or is back; for the log alone."""

    what: str


Command = (
    Acknowledge
    | AcknowledgeAll
    | Unacknowledge
    | Shelve
    | Unshelve
    | OutOfService
    | Standby
    | Break
    | Mark
    | Note
    | Attend
    | FreshBattery
    | Listen
    | StartRound
    | RoundNext
    | RoundBack
    | RoundStay
    | RoundSay
    | EndRound
    | SwitchPack
    | ListenLevel
    | ListenDevice
    | StopListening
    | StartLineCheck
    | LineCheckGo
    | LineCheckMark
    | EndLineCheck
    | SwapInputs
    | ChangePlan
    | CallCause
    | Stop
    | Look
)

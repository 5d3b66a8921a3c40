"""FAULTS: one rule a fault: its words, its remedy, its delays. Plain data; loads no detector."""

from __future__ import annotations

from typing import Final

from engine.model.alarm_limits import NEVER
from engine.model.fault_rules import BURST_GAP_S, GAPS, LINK_NOISE, LOSS, FaultRule, Named, Scope
from engine.model.messages import Fault, Incident

_CODE_FIRST: Final = "timecode: is the recorder running, then cable, level, frame rate, re-jam"

FAULTS: Final[tuple[FaultRule, ...]] = (
    FaultRule(
        "muted",
        Fault.MUTED,
        amber_s="muted_amber_s",
        red_s="muted_red_s",
        off_s=1.0,
        word="muted",
        check_first="no signal: is the pack on and in range, receiver mute, cable, patch",
        family=LOSS,
        rank=3,
        spoils=True,
        in_standby=True,
    ),
    FaultRule(
        "stuck",
        Fault.STUCK,
        amber_s="stuck_amber_s",
        red_s="stuck_red_s",
        off_s=1.0,
        word="stuck",
        check_first="the last buffer again and again: driver, network, then restart the interface",
        spoils=True,
        in_standby=True,
    ),
    FaultRule(
        "dead_mic",
        Fault.DEAD_MIC,
        amber_s="dead_mic_amber_s",
        red_s="dead_mic_red_s",
        off_s=1.0,
        word="dead mic",
        check_first="link is up, mic is dead: phantom power, mic plug",
        family=LOSS,
        rank=2,
        spoils=True,
    ),
    FaultRule(
        "silent",
        Fault.SILENT,
        amber_s="silent_amber_s",
        red_s="silent_red_s",
        off_s=1.0,
        word="silent",
        check_first="no background or room tone: mic plug, mute switch, gain, then listen",
        family=LOSS,
        rank=1,
        spoils=True,
    ),
    FaultRule(
        "dropout",
        Fault.DROPOUT,
        amber_s=0.0,
        red_s=0.0,
        off_s=BURST_GAP_S,
        word="dropout",
        family=GAPS,
        rank=1,
        check_first="the radio link breaks up: antenna, distance, a body in between, battery",
        spoils=True,
    ),
    FaultRule(
        "crackle",
        Fault.CRACKLE,
        amber_s=0.0,
        red_s="crackle_red_s",
        off_s=BURST_GAP_S,
        word="crackle",
        check_first="a contact opens: the mic's cable and plug, then the connector on the pack",
        family=GAPS,
        rank=2,
        if_named=(
            (Named.PHONE, "a phone transmits: away from the pack and its cable, or flight mode"),
        ),
        spoils=True,
    ),
    FaultRule(
        "noise_burst",
        Fault.NOISE_BURST,
        amber_s=0.0,
        red_s=0.0,
        off_s=BURST_GAP_S,
        word="noise burst",
        family=LINK_NOISE,
        rank=1,
        check_first="RF noise: interference or range, antenna, another frequency",
        spoils=True,
    ),
    FaultRule(
        "noise",
        Fault.NOISE,
        amber_s="noise_amber_s",
        red_s="noise_red_s",
        off_s=2.0,
        word="noise",
        check_first="steady RF noise: range, another transmitter, squelch, pack's battery",
        family=LINK_NOISE,
        rank=2,
        spoils=True,
        red_if_uncovered=True,
    ),
    FaultRule(
        "clipped",
        Fault.CLIPPED,
        amber_s=0.0,
        red_s=0.0,
        off_s=3.0,
        word="clipping",
        check_first="overloaded: turn the transmitter gain down, use the safety meanwhile",
        spoils=True,
        red_if_uncovered=True,
    ),
    FaultRule(
        "low",
        Fault.LOW,
        amber_s="low_amber_s",
        red_s=NEVER,
        off_s=2.0,
        word="low",
        check_first="someone talks far too low: transmitter gain, mic obstructed",
    ),
    FaultRule(
        "hum",
        Fault.HUM,
        amber_s="hum_amber_s",
        red_s="hum_red_s",
        off_s=2.0,
        word="hum",
        check_first="mains hum: cable screen, power supply or ground loop near this input",
    ),
    FaultRule(
        "tone",
        Fault.TONE,
        amber_s="tone_amber_s",
        red_s=NEVER,
        off_s=2.0,
        word="tone",
        check_first="a steady tone: loudspeaker that howls near the mic, or a line-up tone left on",
    ),
    FaultRule(
        "dc",
        Fault.DC,
        amber_s="dc_amber_s",
        red_s=NEVER,
        off_s=2.0,
        word="DC offset",
        check_first="the samples lie off the middle: this input of the interface, then another one",
    ),
    FaultRule(
        "duplicate",
        Fault.DUPLICATE,
        amber_s="duplicate_amber_s",
        red_s="duplicate_red_s",
        off_s=2.0,
        word="duplicate",
        check_first="two inputs carry one signal: the patch, then the routing of both",
    ),
    FaultRule(
        "polarity",
        Fault.POLARITY,
        amber_s=0.0,  # the detector itself counts seconds of speech
        red_s=NEVER,
        off_s=2.0,
        word="polarity",
        check_first="the packs are inverted against each other: cable, adapter, polarity switch",
    ),
    FaultRule(
        "pair_drift",
        Fault.PAIR_DRIFT,
        amber_s=0.0,  # as above
        red_s=NEVER,
        off_s=2.0,
        word="pair drift",
        check_first="one pack is quieter than before: mic slipped or obstructed, plug half out",
    ),
    FaultRule(
        "swapped",
        Fault.SWAPPED,
        amber_s=0.0,  # as above
        red_s=NEVER,
        off_s=2.0,
        word="swapped",
        check_first="inputs changed places: who wears which pack, then the patch; swap in the plan",
    ),
    FaultRule(
        "unexpected",
        Fault.UNEXPECTED,
        amber_s="unexpected_amber_s",
        red_s=NEVER,
        off_s=2.0,
        word="unexpected",
        check_first="a signal on an unused input: is something patched wrongly?",
    ),
    FaultRule(
        "timecode_lost",
        Fault.TIMECODE,
        amber_s="timecode_amber_s",
        red_s="timecode_red_s",
        off_s=1.0,
        word="timecode",
        check_first=_CODE_FIRST,
    ),
    FaultRule(
        "timecode_wrong",
        Fault.TIMECODE,
        amber_s=0.0,
        red_s=NEVER,
        off_s=2.0,
        word="timecode",
        check_first=_CODE_FIRST,
        family="timecode wrong",
    ),
    FaultRule(
        "recorder_stopped",
        Fault.TIMECODE,
        amber_s=0.0,
        red_s=NEVER,
        off_s=1.0,
        word="timecode",
        check_first=_CODE_FIRST,
        family="recorder stopped",
        in_standby=True,
    ),
    FaultRule(
        "input_lost",
        Fault.INPUT_LOST,
        amber_s=0.0,
        red_s=0.0,
        off_s=0.0,
        word="input lost",
        check_first="the interface delivers nothing: its cable, its power, then its clock",
        spoils=True,
        in_standby=True,
        scope=Scope.INPUT,
    ),
    FaultRule(
        "clock",
        Fault.CLOCK,
        amber_s=0.0,
        red_s="clock_red_s",
        off_s=BURST_GAP_S,
        word="clock slips",
        check_first="frames are lost or doubled: word clock, which device is master, buffer size",
        scope=Scope.INPUT,
    ),
    FaultRule(
        "samples_lost",
        Fault.SAMPLES_LOST,
        amber_s=0.0,
        red_s=0.0,
        off_s=2.0,
        word="samples lost",
        check_first="audio dropped: close other programs, use a larger buffer",
        in_standby=True,
        scope=Scope.INPUT,
    ),
    FaultRule(
        "invalid_samples",
        Fault.SAMPLES_LOST,
        amber_s=0.0,
        red_s=0.0,
        off_s=2.0,
        word="samples lost",
        check_first="invalid samples: restart the interface, check its driver",
        spoils=True,
        in_standby=True,
    ),
)


NOTHING_YET: Final = FaultRule(
    "nothing_yet",
    Fault.NOTHING_YET,
    amber_s="muted_amber_s",
    red_s=NEVER,
    off_s=1.0,
    word="nothing yet",
    check_first="plug in what belongs there, or leave it out of the plan",
    in_standby=True,
)
"""Of inputs that nobody named and that were quiet from the start: no detector's own finding."""


def rule_of(incident: Incident) -> FaultRule | None:
    """The fault's rule; where it has several, the one that speaks of as much as the incident."""
    scope = Scope.INPUT if incident.track is None else Scope.TRACK
    rules = [rule for rule in (*FAULTS, NOTHING_YET) if rule.fault is incident.fault]
    return next((rule for rule in rules if rule.scope is scope), rules[0] if rules else None)


def word(fault: Fault) -> str:
    """What a fault is called on screen and paper."""
    words = (rule.word for rule in (*FAULTS, NOTHING_YET) if rule.fault is fault)
    return next(words, fault.value.replace("_", " "))


def check_first(incident: Incident) -> str:
    """What to check first, one short line; empty where the table says nothing.

    Of several tracks with a common cause, what is to be checked of the cause: it stands at the end
    of the detail, after the colon. Where the detail names what did it, what helps with that.
    """
    rule = rule_of(incident)
    of_a_cause = incident.track is None and rule is not None and rule.scope is Scope.TRACK
    if of_a_cause and ": " in incident.detail:
        return incident.detail.rsplit(": ", 1)[-1]
    if rule is None:
        return ""
    named = (check for name, check in rule.if_named if name in incident.detail)
    return next(named, rule.check_first)


def spoils(incident: Incident) -> bool:
    """The fault makes the audio of its tracks unusable, so they cover nobody."""
    rule = rule_of(incident)
    return rule is not None and rule.spoils

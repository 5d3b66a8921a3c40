"""The cautions, in the same words on every page: screens, command line, what an assistant sees."""

from __future__ import annotations

from typing import Final

DO_NOT_GO_IN: Final = (
    "This is no safety system. Never stop a stunt or a rescue for a pack, and do not go in: not "
    "into a stunt, traffic, water or a crowd, not under a load or onto a height, before whoever is "
    "responsible for safety there lets you."
)
TALKBACK: Final = (
    "A silent talkback raises no alarm: never rely on it, or on this program, for safety "
    "communication."
)
HEADPHONES: Final = (
    "Headphones: level low before they go on, and before a mic is tapped. The limit is digital; "
    "the gain of your amplifier is not known."
)
PRIVACY: Final = (
    "Packs stay live between takes, and the last minute of every track is kept in memory: think of "
    "people's privacy before you listen."
)
DRILL: Final = (
    "Never run a drill on the machine or the output that covers a live take: its chimes and alerts "
    "look real."
)
LOUDSPEAKER: Final = "Open mics near a loudspeaker record the chime: send it to headphones."
LOCAL_RULES: Final = (
    "RF, working hours, work at height and on water: local rules and licensed people come first."
)

FIRST: Final = (DO_NOT_GO_IN, TALKBACK, HEADPHONES)
"""Where there is room for a few."""

ALL: Final = (*FIRST, PRIVACY, DRILL, LOUDSPEAKER, LOCAL_RULES)

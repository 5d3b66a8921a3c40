"""What measuring, reading, scanning and reporting cost."""

import engine  # noqa: F401  # first of all: it says how many threads numpy may start
from tests.support.subcommands import run

SCRIPTS = {
    "profile": "stage_profile",
    "tick": "tick",
    "reading": "reading",
    "growth": "growth",
    "timecode": "timecode_reading",
    "report": "session_report",
}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.speed", SCRIPTS))

"""What measuring, reading, scanning and reporting cost."""

from tests.support.subcommands import run

SCRIPTS = {
    "tick": "tick",
    "reading": "reading",
    "growth": "growth",
    "timecode": "timecode_reading",
    "report": "session_report",
}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.speed", SCRIPTS))

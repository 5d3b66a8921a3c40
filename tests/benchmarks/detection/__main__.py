"""How well faults are found: in scenes made of recordings, and in drills."""

from tests.support.subcommands import run

SCRIPTS = {
    "fetch": "fetch",
    "run": "run",
    "drills": "drills",
}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.detection", SCRIPTS))

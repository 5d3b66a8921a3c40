"""Spoiled takes and plans by the thousand, and a log whose writer is killed."""

from tests.support.subcommands import run

SCRIPTS = {
    "mutations": "mutations",
    "coverage": "coverage_guided",
    "log-kills": "log_kills",
}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.robustness", SCRIPTS))

"""The recorder's takes against the session, with planted errors."""

import engine  # noqa: F401  # first of all: it says how many threads numpy may start
from tests.support.subcommands import run

SCRIPTS = {"scenes": "scenes"}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.verify", SCRIPTS))

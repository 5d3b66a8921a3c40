"""What the window costs, how soon it shows something, what it loses when it stands still."""

from tests.support.subcommands import run

SCRIPTS = {
    "cost": "cost",
    "startup": "startup",
    "frozen": "frozen",
    "soak": "soak",
}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.screen", SCRIPTS))

"""How a live watch stands the worst: tries of one kind each, with what was told and when."""

from tests.support.subcommands import run

SCRIPTS = {
    "stops": "stops",
    "moved": "moved",
    "jack": "jack",
    "kills": "kills",
    "memory": "memory",
}

if __name__ == "__main__":
    raise SystemExit(run("tests.benchmarks.survival", SCRIPTS))

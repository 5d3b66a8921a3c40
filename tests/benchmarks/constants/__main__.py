"""What each tuned constant is worth; see `run`."""

import engine  # noqa: F401  # first of all: it says how many threads numpy may start
from tests.benchmarks.constants.run import main

if __name__ == "__main__":
    raise SystemExit(main())

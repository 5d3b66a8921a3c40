"""`python -m app` is the same as `trackwarden`."""

import sys

from app.cli.main import main

if __name__ == "__main__":
    sys.exit(main())

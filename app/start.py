"""One command on a bare machine: set up all that is missing, then run trackwarden.

Without arguments it watches the demo take; any arguments are trackwarden's own.
"""

import os
import subprocess
import sys
from pathlib import Path

# Run as a file, Python would look for modules in app/; they are to be found in the checkout.
sys.path[0] = str(Path(__file__).resolve().parent.parent)

from app.setup import bootstrap, system_packages  # noqa: E402


def main() -> int:
    """Set up, then become `python -m app` in the `.venv`."""
    machine = system_packages.Machine.here()
    # Without a display the take is watched in the terminal: no window, no window libraries.
    purposes = [system_packages.SOUND, *([system_packages.WINDOW] if machine.display else [])]
    # A take can be watched without sound; a live input then says what it lacks.
    silent = (system_packages.SOUND,)
    python = bootstrap.prepare(bootstrap.ROOT, purposes, "", machine, can_do_without=silent)
    # -P: a folder called app where the command is typed must not be taken for ours.
    command = [str(python), "-P", "-m", "app", *(sys.argv[1:] or ["replay", "demo"])]
    if os.name != "nt":  # there, exec would return to the prompt before the program ends
        os.execv(command[0], command)
    return subprocess.run(command, check=False).returncode


if __name__ == "__main__":
    sys.exit(bootstrap.run_prepared(main))

"""One command from a bare machine: set up all that is missing, then lint, types and tests.

python3 tests/run.py                     everything
python3 tests/run.py tests/engine -k cut only those tests; arguments go to pytest
python3 tests/run.py --refresh-pins      look up newer versions for app/setup/constraints.txt
"""

import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

# Run as a file, Python would look for modules in tests/; they are to be found in the checkout.
sys.path[0] = str(Path(__file__).resolve().parent.parent)

from app.setup import bootstrap, system_packages  # noqa: E402

ROOT = bootstrap.ROOT
CHECKED = ("engine", "app", "demo_audio", "tests/support")
CHECKS = {
    "ruff check": ("ruff", "check", "."),
    "ruff format": ("ruff", "format", "--check", "."),
    "mypy": ("mypy", *CHECKED),
    "mypy for Windows": ("mypy", "--platform", "win32", *CHECKED),
    "mypy for macOS": ("mypy", "--platform", "darwin", *CHECKED),
}
SPREAD = ("-n", "auto", "--dist", "loadfile")
TIMED = "end_to_end and not at_any_speed"
ROUNDS = (["-m", TIMED], [*SPREAD, "-m", f"not ({TIMED})"])
PURPOSES = (system_packages.SOUND, system_packages.WINDOW, system_packages.TESTS)


def check(python: Path) -> bool:
    """Lint and types; says in one line how each went, before the tests have the last word."""
    went = {}
    for name, command in CHECKS.items():
        print(f"── {name}", flush=True)
        done = subprocess.run([str(python), "-m", *command], cwd=ROOT, check=False)
        went[name] = "passed" if done.returncode == 0 else "FAILED"
    print(" · ".join(f"{name}: {word}" for name, word in went.items()), flush=True)
    return "FAILED" not in went.values()


@contextmanager
def display(machine: system_packages.Machine) -> Iterator[dict[str, str]]:
    """The environment for a window where there is no display: a virtual one, else Qt's own."""
    if not machine.linux or machine.display or "QT_QPA_PLATFORM" in os.environ:
        yield dict(os.environ)
        return
    reader, writer = os.pipe()
    server = ["Xvfb", "-displayfd", str(writer), "-screen", "0", "1920x1200x24", "-nolisten", "tcp"]
    try:
        xvfb = subprocess.Popen(server, pass_fds=[writer], stderr=subprocess.DEVNULL)
    except OSError:
        os.close(reader)
        os.close(writer)
        yield {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
        return
    os.close(writer)
    with os.fdopen(reader) as told:
        number = told.readline().strip()  # empty where the server gave up
    try:
        yield {**os.environ, **({"DISPLAY": f":{number}"} if number else {})}
    finally:
        xvfb.terminate()
        xvfb.wait()


def run_tests(python: Path, words: Sequence[str], env: dict[str, str]) -> int:
    """One round of pytest; its exit status."""
    print("── pytest " + " ".join(words), flush=True)
    return subprocess.run([str(python), "-m", "pytest", *words], cwd=ROOT, env=env).returncode


def refresh_pins(python: Path) -> int:
    """Write the pins anew: one set of versions for every Python and system at once."""
    subprocess.run([str(python), "-m", "pip", "install", "--quiet", "uv"], check=True)
    note = "# Written by: python3 tests/run.py --refresh-pins\n"
    command = [str(python), "-m", "uv", "pip", "compile", "--quiet", "--universal", "--no-header"]
    command += ["--python-version", "3.11", "--fork-strategy", "fewest", "--no-annotate"]
    command += ["--extra", "test", "pyproject.toml", "-"]
    # setuptools builds the project; nothing else asks for it by name.
    done = subprocess.run(
        command, cwd=ROOT, input="setuptools>=77\n", text=True, stdout=subprocess.PIPE, check=True
    )
    (ROOT / bootstrap.CONSTRAINTS).write_text(note + done.stdout, "utf-8")
    return 0


def main() -> int:
    """Set up, check, test; 0 only where all of it passed."""
    arguments = sys.argv[1:]
    if arguments in (["-h"], ["--help"]):
        print(__doc__)
        return 0
    machine = system_packages.Machine.here()
    python = bootstrap.prepare(ROOT, PURPOSES, "test", machine)
    if arguments == ["--refresh-pins"]:
        return refresh_pins(python)
    passed = bool(arguments) or check(python)
    # What measures real time runs by itself; the rest is spread over the cores.
    rounds = [arguments] if arguments else ROUNDS
    with display(machine) as env:
        for words in rounds:
            code = run_tests(python, words, env)
            passed = passed and code == 0
    return 0 if passed else code or 1


if __name__ == "__main__":
    sys.exit(bootstrap.run_prepared(main))

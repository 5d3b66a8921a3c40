"""The recipes of DEVELOPERS.md, followed step by step in a copy of the tree."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest

from tests.architecture.imports import ENGINE_ORDER
from tests.support.checkout import ROOT

MANUAL = (ROOT / "DEVELOPERS.md").read_text("utf-8")
RECIPES = MANUAL.split("## Recipes")[1].split("\n## ")[0]
NAMED = re.findall(r"`([^`\s]+)`", RECIPES)
STEPS = re.findall(r"^\d+\. ((?:.|\n   )*)", RECIPES, re.MULTILINE)


class Tree:
    """A copy of the program, to be changed as a recipe says."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in ("engine", "app", "demo_audio"):
            without_sound = shutil.ignore_patterns("__pycache__", "*.flac", "*.png")
            shutil.copytree(ROOT / name, folder / name, ignore=without_sound)

    def add(self, path: str, where: str, text: str, *, above: bool = False) -> None:
        """Put text below (or above) the first line that fits the pattern `where`."""
        file = self.folder / path
        before = file.read_text("utf-8")
        line = re.search(rf"^.*{where}.*\n", before, re.MULTILINE)
        assert line, f"{path} has no line with {where}"
        at = line.start() if above else line.end()
        file.write_text(before[:at] + text + "\n" + before[at:], "utf-8")

    def write(self, path: str, text: str) -> None:
        """A new file."""
        assert not (self.folder / path).exists()
        (self.folder / path).write_text(text, "utf-8")

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Python in that copy."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": str(self.folder), "QT_QPA_PLATFORM": "offscreen"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    """A copy of the program."""
    return Tree(tmp_path)


def test_every_file_named_is_there() -> None:
    """Each path of a recipe leads to a file or a folder."""
    paths = [name for name in NAMED if "/" in name or name.endswith((".py", ".md"))]
    assert len(paths) > 15
    assert not [path for path in paths if not (ROOT / path).exists()]


def test_every_name_is_defined_where_the_step_says() -> None:
    """Each name in a step stands in one of the files that the step names."""
    missing = []
    for step in STEPS:
        quoted = re.findall(r"`([^`\s]+)`", step)
        files = [ROOT / name for name in quoted if (ROOT / name).is_file()]
        text = "".join(path.read_text("utf-8") for path in files)
        missing += [name for name in quoted if not (ROOT / name).exists() and name not in text]
    assert not missing


def test_the_order_printed_is_the_one_held() -> None:
    """The order of packages in the manual is that of the test that holds it."""
    printed = MANUAL.split("<!-- order -->")[1].split("<!-- /order -->")[0]
    floors = [line for line in printed.split("\n") if line and "`" not in line]
    assert floors == [", ".join(names) for names in ENGINE_ORDER]


def test_the_folders_listed_are_those_there_are() -> None:
    """The listing names every package of engine and app, and no other."""
    listing = MANUAL.split("## Where things lie")[1].split("```")[1]
    for top in ("engine", "app"):
        part = re.split(r"^\w+/", listing.split(f"\n{top}/")[1], flags=re.MULTILINE)[0]
        assert set(re.findall(r"^  (\w+)/ ", part, re.MULTILINE)) == _folders(ROOT / top)


def _folders(folder: Path) -> set[str]:
    inside: Iterable[Path] = folder.iterdir()
    return {p.name for p in inside if p.is_dir() and any(p.rglob("*.py"))}


DETECTOR = '''
"""Loud: a track above half of full scale."""

import numpy as np

from engine.detectors.base import Runs, condition, unknown
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By


class Loud(TrackMemory):
    """Active while a hop peaks above half of full scale."""

    NEEDS_SAMPLES = False
    _runs = remembered(By.PART, lambda detector: Runs(detector._tracks))

    def __init__(self, scene):
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement, feed):
        if measurement is None:
            return unknown(self._tracks)
        m, runs = measurement, self._runs
        runs.update(np.maximum(m.peak_max, -m.peak_min) > 0.5, m.valid, m.start_s, m.hop_s)
        return condition(runs.active, m.valid.any(axis=0), runs.onset_s, runs.last_s)

    def detail(self, place):
        return "above half of full scale"
'''

SCAN = """
import numpy as np
from engine.model.tracks import Plan, Track
from engine.pipeline.scan import scan_source
from engine.pipeline.scan_document import document
from engine.sources.synthetic import ArraySource

sound = np.random.default_rng(1).normal(0.0, 0.003, (96_000, 1)).astype(np.float32)
sound[48_000:64_000:7] = 0.6
for incident in document(scan_source(ArraySource(sound, 8_000), Plan((Track(1),))))["incidents"]:
    if incident["fault"] == "loud":
        print(incident["severity"], incident["onset_s"], incident["amber_s"], incident["detail"])
"""


def test_a_fault_added_by_the_recipe_is_told(tree: Tree) -> None:
    """Word, limit, rule, detector and registry are all it takes for a scan to tell it."""
    tree.add("engine/model/messages.py", "MUTED = ", '    LOUD = "loud"', above=True)
    tree.add("engine/model/alarm_limits.py", r"^_OFF_FOR\b.*{", "    Fault.LOUD: (),")
    limit = '        _seconds("loud_amber_s", 1.0, "loud this long: amber"),'
    tree.add("engine/model/alarm_limits.py", '_seconds\\("muted_amber_s"', limit, above=True)
    rule = (
        '    FaultRule("loud", Fault.LOUD, amber_s="loud_amber_s", red_s=NEVER, off_s=1.0, '
        'word="loud", check_first="turn it down"),'
    )
    tree.add("engine/model/fault_remedies.py", r"^FAULTS\b.*\(", rule)
    tree.write("engine/detectors/loud.py", DETECTOR)
    tree.add("engine/detectors/registry.py", r"^DETECTORS\b.*{", '    "loud": Loud,')
    imported = "from engine.detectors.loud import Loud"
    tree.add("engine/detectors/registry.py", "^from engine.detectors.base", imported)
    assert tree.run("-c", SCAN).stdout.strip() == "amber 6.0 7.0 above half of full scale"


def test_a_command_added_by_the_recipe_can_be_typed(tree: Tree) -> None:
    """A row for its arguments and one for what it does: it runs, and help lists it."""
    row = '    command(commands, "count", does["count"], "count to three", "trackwarden count")'
    tree.add("app/cli/arguments.py", "^    return parser", row, above=True)
    tree.add("app/cli/main.py", r"^_DOES\b.*{", '    "count": lambda given: print(1, 2, 3) or OK,')
    assert tree.run("-m", "app", "count").stdout == "1 2 3\n"
    assert "count to three" in tree.run("-m", "app", "--help").stdout


PAGE = """
from app.views.widgets.basics import plain
from app.views.widgets.overlay import Overlay


class Hello(Overlay):
    def __init__(self, parent):
        super().__init__(parent)
        self.setAccessibleName("Hello")
        self.column.addWidget(plain("Hello", "title"))
"""

PRESS = """
import os
from pathlib import Path
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

app = QApplication([])
from tests.support.qt import fake_client, pages

window, _, _ = pages.watching(Path("."), fake_client.tower_plan())
QTest.keyClick(window, Qt.Key.Key_F2)
print(window.layer.current.accessibleName(), flush=True)
os._exit(0)
"""


def test_a_page_added_by_the_recipe_opens_by_its_key(tree: Tree) -> None:
    """A page, a key and what opens it: pressed on the board, the page lies over it."""
    shutil.copytree(ROOT / "tests" / "support", tree.folder / "tests" / "support")
    tree.write("app/views/hello_page.py", PAGE)
    keys = "app/models/key_bindings.py"
    tree.add(keys, "SEEN = auto", "    HELLO = auto()", above=True)
    tree.add(keys, r"^KEYS\b.*\(", '    Key(Act.HELLO, "F2", "F2", "say hello"),')
    controller = "app/controllers/settings_controller.py"
    imported = "from app.views.hello_page import Hello"
    tree.add(controller, "^from app.views.settings_page", imported, above=True)
    opens = "            Act.HELLO: lambda: self._layer.open(Hello(self._layer.below)),"
    tree.add(controller, "Act.HELP: self.show_help", opens)
    assert tree.run("-c", PRESS).stdout.strip().splitlines()[-1] == "Hello"


FORMAT = """
def listing(report):
    return "".join(f"{e.word}\\n" for section in report.sections for e in section.entries)
"""

WRITE = """
import sys
from pathlib import Path
from app.report.write import Files, write_report
from tests.support.sample_report import incident, section

write_report([section([incident()])], Files(txt=Path("night.txt")))
print(Path("night.txt").read_text())
"""


def test_a_format_added_by_the_recipe_is_written(tree: Tree) -> None:
    """A function, a path and a row in what is written: the file is there."""
    shutil.copytree(ROOT / "tests" / "support", tree.folder / "tests" / "support")
    tree.write("engine/report/formats/listing.py", FORMAT)
    write = "app/report/write.py"
    imported = "from engine.report.formats.listing import listing"
    tree.add(write, "^from engine.report.formats.json_document", imported)
    tree.add(write, "json: Path . None = None", "    txt: Path | None = None")
    row = "        (files.txt, lambda path: _write(path, listing(whole))),"
    tree.add(write, r"\(files.json, ", row)
    tree.add("app/cli/arguments.py", r"^_REPORT_FORMS\b.*\(", '    ("txt", "one word a line"),')
    assert tree.run("-c", WRITE).stdout.strip() == "muted"
    assert "--txt F" in tree.run("-m", "app", "report", "--help").stdout

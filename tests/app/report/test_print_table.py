"""Pages on their way to a printer."""

from __future__ import annotations

import gc
import subprocess
import sys

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPainter
from PySide6.QtWidgets import QApplication

from app.report.print_table import table
from app.style import theme
from tests.support.checkout import ROOT

PROGRAM = """
import gc, sys
from PySide6.QtCore import QTimer
from PySide6.QtPrintSupport import QPrintPreviewWidget
from PySide6.QtWidgets import QApplication, QWidget
from app.report.print_table import preview, table
app = QApplication([])
page = QWidget()
page.resize(800, 600)
page.show()
preview(page, table("Title", "under it", ("one",), [["cell"]] * 90), "Title")
gc.collect()

def look():
    gc.collect()
    (dialog,) = [w for w in app.topLevelWidgets() if w.windowTitle() == "Title"]
    view = dialog.findChild(QPrintPreviewWidget)
    view.updatePreview()
    print("pages", view.pageCount())
    dialog.close()
    QTimer.singleShot(200, app.quit)

QTimer.singleShot(800, look)
sys.exit(app.exec())
"""


def test_the_preview_outlives_who_asked_for_it() -> None:
    """Nobody but the dialog holds printer and document; it paints more than one page and closes.

    In a process of its own, for what it lacks ends the process.
    """
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout.split()[1]) > 1


def test_all_words_are_black(qapp: QApplication) -> None:
    """Paper is white in the night look too."""
    before = qapp.palette()
    qapp.setPalette(theme.palette(theme.NIGHT))
    try:
        document = table("Title", "under it", ("one",), [["cell"]])
        image = QImage(1000, 400, QImage.Format.Format_RGB32)
        image.fill(Qt.GlobalColor.white)
        painter = QPainter(image)
        document.setTextWidth(1000)
        document.drawContents(painter)
        painter.end()
    finally:
        qapp.setPalette(before)
    block = document.begin()
    while block.isValid():
        for words in block:
            assert words.fragment().charFormat().foreground().color() == Qt.GlobalColor.black
        block = block.next()
    height = round(document.begin().layout().boundingRect().bottom())
    darkest = min(image.pixelColor(x, y).lightness() for x in range(200) for y in range(height + 8))
    assert darkest < 60


def test_names_are_never_markup() -> None:
    """What a plan's author typed comes out as typed."""
    document = table("<b>Night</b>", "a & b", ("<i>",), [["<img src=x>"]])
    assert "<b>Night</b>\na & b" in document.toPlainText()
    assert "<img src=x>" in document.toPlainText()
    gc.collect()

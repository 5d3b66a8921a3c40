"""Tables on paper or as PDF. Every word is escaped: names from files are never markup."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QPageLayout, QTextDocument
from PySide6.QtPrintSupport import QPrinter, QPrintPreviewDialog
from PySide6.QtWidgets import QWidget

_LINES: Final = "border-collapse: collapse; border-style: solid; border-color: #808080;"


def table(
    title: str, under: str, heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> QTextDocument:
    """A document with a title, a line under it, and a table."""

    def row(cells: Sequence[str], tag: str) -> str:
        return "<tr>" + "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in cells) + "</tr>"

    body = "".join(row(cells, "td") for cells in rows)
    document = QTextDocument()
    document.setDefaultStyleSheet("td, th { padding: 3px 8px; } th { text-align: left; }")
    # Black by name: without it the night look's pale words would go onto white paper.
    document.setHtml(
        '<body style="color: black">'
        f"<h2>{escape(title)}</h2><p>{escape(under)}</p>"
        f'<table border="1" cellspacing="0" width="100%" style="{_LINES}">'
        f"<thead>{row(heads, 'th')}</thead>{body}</table>"
    )
    return document


def preview(parent: QWidget, document: QTextDocument, title: str) -> QPrintPreviewDialog:
    """Show it as it will be printed; from there it goes to a printer or into a PDF."""
    dialog = _Preview(parent, document, title)
    dialog.open()
    return dialog


class _Preview(QPrintPreviewDialog):
    """Holds printer and document as long as it lives: Qt's own dialog owns neither."""

    def __init__(self, parent: QWidget, document: QTextDocument, title: str) -> None:
        self._printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        self._printer.setPageOrientation(QPageLayout.Orientation.Landscape)
        self._printer.setDocName(title)
        self._document = document
        super().__init__(self._printer, parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.paintRequested.connect(self._paint)

    def _paint(self, printer: QPrinter) -> None:
        self._document.print_(printer)

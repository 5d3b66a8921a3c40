"""Tables on paper or as PDF. Every word is escaped: names from files are never markup."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from PySide6.QtGui import QPageLayout, QTextDocument
from PySide6.QtPrintSupport import QPrinter, QPrintPreviewDialog
from PySide6.QtWidgets import QWidget


def table(
    title: str, under: str, heads: Sequence[str], rows: Sequence[Sequence[str]]
) -> QTextDocument:
    """A document with a title, a line under it, and a table."""

    def row(cells: Sequence[str], tag: str) -> str:
        return "<tr>" + "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in cells) + "</tr>"

    body = "".join(row(cells, "td") for cells in rows)
    document = QTextDocument()
    document.setDefaultStyleSheet("td, th { padding: 3px 8px; } th { text-align: left; }")
    document.setHtml(
        f"<h2>{escape(title)}</h2><p>{escape(under)}</p>"
        f'<table border="1" cellspacing="0" width="100%">{row(heads, "th")}{body}</table>'
    )
    return document


def preview(parent: QWidget, document: QTextDocument, title: str) -> QPrintPreviewDialog:
    """Show it as it will be printed; from there it goes to a printer or into a PDF."""
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setPageOrientation(QPageLayout.Orientation.Landscape)
    printer.setDocName(title)
    dialog = QPrintPreviewDialog(printer, parent)
    dialog.setWindowTitle(title)
    dialog.paintRequested.connect(document.print_)
    dialog.open()
    return dialog

"""What a report shall be: of what, in which form, in which folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QWidget,
)

from app.models.choices import ReportChoices
from app.models.report_subjects import Subject, of_take
from app.report.job import ReportJob
from app.report.write import Files
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

MARKERS: Final = "markers"
TAKES: Final = "Takes (*.wav *.rf64 *.bw64 *.flac);;All files (*)"
FORMS: Final = (
    ("html", "HTML: one file that stands alone"),
    ("pdf", "PDF to print"),
    ("csv", "CSV for a spreadsheet"),
    ("json", "JSON for a script"),
    (MARKERS, "Markers for editing programs: OTIO, EDL, VTT"),
)
PAPERS: Final = (("a4", "A4"), ("letter", "Letter"))
_SUBJECT: Final = Qt.ItemDataRole.UserRole
READING: Final = "Reading what was watched…"
_WIDE: Final = 620
_PATH_LETTERS: Final = 50


class _PathField(QLineEdit):
    """A field in which an ordinary path is to be seen whole, at any size of its letters."""

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Room for some fifty letters."""
        letters = self.fontMetrics().averageCharWidth() * _PATH_LETTERS
        return QSize(max(_WIDE - 200, letters), super().minimumSizeHint().height())


class ReportPage(Overlay):
    """`wanted` carries a `ReportJob` and how it was chosen; `sessions_asked` where all are listed.

    `only`: the one session it is of; without it a list is shown, which `offer` fills.
    """

    wanted = Signal(object, object)

    def __init__(
        self,
        parent: QWidget,
        choices: ReportChoices,
        plan: str | None = None,
        only: Subject | None = None,
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName("Report: sources, formats, folder")
        self._plan, self._only, self._base = plan, only, choices.folder
        self._own_folder = False
        self.subjects = QListWidget()
        self.forms = {form: QCheckBox(words) for form, words in FORMS}
        self.paper = QComboBox()
        self.folder = _PathField()
        self.there, self.problem = plain("", "dim"), plain("", "red", wrap=True)
        self.choose = Button("Choose a folder")
        self.add_takes = Button("Add takes")
        self.add_folder = Button("Add a folder of mono files")
        self.write = Button("Write the report", "Enter", main=True).as_primary()
        self.close_it = Button("Not now", "Esc", main=True)
        self._build(choices)
        self._connect()
        self._name_folder()
        if only is None:
            say(self.there, READING)

    def _build(self, choices: ReportChoices) -> None:
        self.column.addWidget(plain("Report", "title"))
        if self._only is not None:
            self.column.addWidget(plain(f"This session so far: {self._only.words}", wrap=True))
        else:
            self.column.addWidget(
                plain("Sessions and takes to include: one report, a section for each.")
            )
            self.subjects.setAccessibleName("Sessions and takes")
            self.subjects.setMinimumSize(_WIDE, 190)
            self.column.addWidget(self.subjects)
            self.column.addLayout(_line(self.add_takes, self.add_folder))
        forms = QGridLayout()
        for n, (form, box) in enumerate(self.forms.items()):
            box.setChecked(form in choices.forms)
            forms.addWidget(box, n // 2, n % 2)
        for _, words in PAPERS:
            self.paper.addItem(words)
        self.paper.setCurrentIndex([key for key, _ in PAPERS].index(choices.paper))
        self.paper.setAccessibleName("Paper of the PDF")
        row = _line(plain("Paper of the PDF"), self.paper)
        self.column.addLayout(forms)
        self.column.addLayout(row)
        self.folder.setAccessibleName("Folder")
        where = QHBoxLayout()
        where.addWidget(plain("Into"))
        where.addWidget(self.folder, 1)
        where.addWidget(self.choose)
        self.column.addLayout(where)
        self.column.addWidget(self.there)
        self.column.addWidget(self.problem)
        self.column.addLayout(_line(self.write, self.close_it))

    def _connect(self) -> None:
        self.subjects.itemChanged.connect(lambda _item: self._name_folder())
        self.folder.textEdited.connect(self._keep_folder)
        self.folder.textChanged.connect(lambda _text: self._look_there())
        for box in self.forms.values():
            box.toggled.connect(lambda _on: self._look_there())
        self.folder.returnPressed.connect(self.accept)
        self.choose.clicked.connect(self.ask_folder)
        self.add_takes.clicked.connect(self.ask_takes)
        self.add_folder.clicked.connect(self.ask_mono)
        self.write.clicked.connect(self.accept)
        self.close_it.clicked.connect(self.hide)

    def open(self) -> None:
        """Show it, ready for Enter."""
        super().open()
        self.write.setFocus()

    # Of what

    def offer(self, subjects: Sequence[Subject]) -> None:
        """List these too; the very first one is ticked."""
        for subject in subjects:
            self._add(subject, ticked=self.subjects.count() == 0)
        self._name_folder()
        self._look_there()
        say(self.problem, "")

    def _add(self, subject: Subject, *, ticked: bool) -> None:
        item = QListWidgetItem(subject.words)
        item.setData(_SUBJECT, subject)
        item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
        item.setCheckState(Qt.CheckState.Checked if ticked else Qt.CheckState.Unchecked)
        self.subjects.addItem(item)
        if self.subjects.count() == 1:
            self.subjects.setCurrentRow(0)

    @property
    def chosen(self) -> tuple[Subject, ...]:
        """What is ticked."""
        if self._only is not None:
            return (self._only,)
        items = [self.subjects.item(n) for n in range(self.subjects.count())]
        ticked = [i for i in items if i.checkState() == Qt.CheckState.Checked]
        return tuple(item.data(_SUBJECT) for item in ticked)

    def ask_takes(self) -> None:
        """Pick takes from disk; they are what the report is of, then."""
        paths, _ = QFileDialog.getOpenFileNames(self, "Takes to report on", "", TAKES)
        self.add(paths)

    def ask_mono(self) -> None:
        """Pick a folder of mono files, which is one take."""
        path = QFileDialog.getExistingDirectory(self, "A folder of mono files")
        self.add([path] if path else [])

    def add(self, takes: Sequence[str]) -> None:
        """Tick these takes instead of what stood ticked at first."""
        if takes and not any(subject.take for subject in self.chosen):
            for n in range(self.subjects.count()):
                self.subjects.item(n).setCheckState(Qt.CheckState.Unchecked)
        for take in takes:
            self._add(of_take(take), ticked=True)
        self._name_folder()

    # Where to

    def _keep_folder(self, _text: str) -> None:
        self._own_folder = True

    def _name_folder(self) -> None:
        """A folder of its own for each report, unless the user named one."""
        chosen = self.chosen
        if chosen and not self._own_folder:
            self.folder.setText(str(self._base / chosen[0].name))

    def _look_there(self) -> None:
        """Say so where a report would be written over."""
        old = any(path.exists() for path in self._files().wanted)
        say(self.there, "There is a report already: it will be replaced." if old else "")

    def _files(self) -> Files:
        every = Files.all_in(Path(self.folder.text().strip()).expanduser())
        forms = [form for form in self._ticked_forms() if form != MARKERS]
        return Files(**{form: getattr(every, form) for form in forms})

    def _ticked_forms(self) -> tuple[str, ...]:
        return tuple(form for form, box in self.forms.items() if box.isChecked())

    def ask_folder(self) -> None:
        """Pick the folder from disk."""
        path = QFileDialog.getExistingDirectory(self, "Folder of the report", str(self._base))
        if path:
            self._own_folder = True
            self.folder.setText(path)

    # Go

    def accept(self) -> None:
        """Ask for the report, unless something is missing."""
        chosen, forms, files = self.chosen, self._ticked_forms(), self._files()
        wrong = "" if chosen else "Tick at least one session or take."
        wrong = wrong or ("" if forms else "Tick at least one format.")
        wrong = wrong or ("" if self.folder.text().strip() else "Choose a folder.")
        if wrong:
            say(self.problem, wrong)
            return
        paper = PAPERS[self.paper.currentIndex()][0]
        folder = Path(self.folder.text().strip()).expanduser()
        base = self._base if self._own_folder else folder.parent
        job = ReportJob(
            sessions=tuple(s.session for s in chosen if s.session is not None),
            takes=tuple(s.take for s in chosen if s.take is not None),
            files=files,
            plan=self._plan,
            paper=paper,
            markers=folder if MARKERS in forms else None,
        )
        self.hide()
        self.wanted.emit(job, ReportChoices(base, forms, paper))


def _line(*parts: QWidget) -> QHBoxLayout:
    row = QHBoxLayout()
    for part in parts:
        row.addWidget(part)
    row.addStretch(1)
    return row

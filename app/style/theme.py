"""Colours of both looks, fonts, sizes, and the style sheet made of them.

Grey is normal; colour stands only where something is wrong. Every state also has a shape
(`app/style/state_shapes.py`) and a word (`app/style/wording.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

from PySide6.QtGui import QColor, QFont, QFontDatabase, QPalette

from engine.model.messages import Severity
from engine.report.layout import palette as paper


@dataclass(frozen=True, slots=True)
class Look:
    """One set of colours, each "#rrggbb".

    A red that nobody has seen is a solid field, `alarm`, with light text, `on_alarm`; one that was
    seen stands on `red_bg`; amber is an outline.

    Text colours (`ink`, `dim`, `amber`, `red`, `cover`) keep 4.5:1 on every ground they stand on,
    drawn shapes (`ribbon`, `bar`, `edge`) 3:1. Source: WCAG 2.2, SC 1.4.3 and 1.4.11.
    """

    name: str
    bg: str
    panel: str
    line: str
    edge: str
    ink: str
    dim: str
    ribbon: str
    bar: str
    amber: str
    red: str
    red_bg: str
    amber_bg: str
    cover: str
    alarm: str
    on_alarm: str

    def colour(self, severity: Severity | None) -> str:
        """The colour of text and shapes of that severity; dim where nothing is wrong."""
        if severity is None:
            return self.dim
        return self.red if severity is Severity.RED else self.amber

    def ground(self, severity: Severity | None) -> str:
        """What text of that severity stands on."""
        if severity is None:
            return self.panel
        return self.red_bg if severity is Severity.RED else self.amber_bg


NIGHT: Final = Look(
    name="night",
    bg="#14171a",
    panel="#1b1f23",
    line="#2a3036",
    edge="#6b767e",
    ink="#d7dde2",
    dim="#8d979f",
    ribbon="#66727a",
    bar="#9aa5ad",
    amber="#f2a900",
    red="#ff6e60",
    red_bg="#3a1512",
    amber_bg="#33270a",
    cover="#7fb2d9",
    alarm="#c8200f",
    on_alarm="#ffffff",
)
DAY: Final = Look(
    name="day",
    bg="#f3f1ea",
    panel="#fffdf7",
    line=paper.LINE,
    edge=paper.EDGE,
    ink=paper.INK,
    dim=paper.DIM,
    ribbon=paper.LEVEL,
    bar="#545b60",
    amber=paper.AMBER,
    red=paper.RED,
    red_bg=paper.RED_GROUND,
    amber_bg=paper.AMBER_GROUND,
    cover=paper.COVER,
    alarm="#b3140a",
    on_alarm="#ffffff",
)
"""By day the board has the colours of the report: one meaning, one colour."""

LOOKS: Final = {look.name: look for look in (NIGHT, DAY)}


def look_of(name: str) -> Look:
    """The look of that name; the night's where there is none."""
    return LOOKS.get(name, NIGHT)


FAMILIES: Final = ("B612", "Noto Sans", "Segoe UI", "Helvetica Neue", "DejaVu Sans", "Arial")
"""First one installed is used: B612 was drawn for instruments, its figures all equally wide."""

DESIGN_WIDTH: Final = 1440
DESIGN_HEIGHT: Final = 900


def scale_for(width: int, height: int) -> float:
    """How much larger than at 1440 × 900 all is drawn in a window of that size."""
    return min(max(min(width / DESIGN_WIDTH, height / DESIGN_HEIGHT), 0.86), 1.75)


def family() -> str:
    """The installed family to use; needs a QGuiApplication."""
    installed = set(QFontDatabase.families())
    return next((name for name in FAMILIES if name in installed), QFont().family())


def font(pixels: float, bold: bool = False, name: str | None = None) -> QFont:
    """A font of that pixel size, with figures of equal width where the font can."""
    made = QFont(name or family())
    made.setPixelSize(max(8, round(pixels)))
    made.setBold(bold)
    made.setStretch(QFont.Stretch.Unstretched)  # of a family with narrow faces not just any one
    made.setFeature(QFont.Tag("tnum"), 1)
    return made


def palette(look: Look) -> QPalette:
    """The same colours for the parts that Qt draws by itself."""
    roles = {
        QPalette.ColorRole.Window: look.bg,
        QPalette.ColorRole.Base: look.panel,
        QPalette.ColorRole.Button: look.panel,
        QPalette.ColorRole.Text: look.ink,
        QPalette.ColorRole.WindowText: look.ink,
        QPalette.ColorRole.ButtonText: look.ink,
        QPalette.ColorRole.PlaceholderText: look.dim,
        QPalette.ColorRole.Highlight: look.edge,
        QPalette.ColorRole.HighlightedText: look.ink,
    }
    made = QPalette()
    for role, colour in roles.items():
        made.setColor(role, QColor(colour))
    return made


_SHEET: Final = """
* {{ font-family: "{family}"; font-size: {px14}px; color: {ink}; outline: none; }}
QWidget#page, QWidget#board, QScrollArea, QWidget#cards {{ background: {bg}; border: none; }}
QScrollArea#clear, QWidget#clear {{ background: transparent; }}
QLabel {{ background: transparent; }}
QLabel[tone="dim"] {{ color: {dim}; }}
QLabel[tone="small"] {{ color: {dim}; font-size: {px12}px; }}
QLabel[tone="title"] {{ font-size: {px17}px; font-weight: 700; }}
QLabel[tone="huge"] {{ font-size: {px46}px; font-weight: 700; }}
QLabel[tone="complete"] {{ font-size: {px46}px; font-weight: 700; color: {cover}; }}
QLabel[tone="incomplete"] {{ font-size: {px46}px; font-weight: 700; color: {red}; }}
QLabel[tone="large"] {{ font-size: {px28}px; }}
QLabel[tone="warn"] {{ font-size: {px17}px; font-weight: 700; color: {amber}; }}
QLabel[tone="largewarn"] {{ font-size: {px28}px; font-weight: 700; color: {amber}; }}
QLabel[tone="clock"] {{ font-size: {px22}px; font-weight: 700; }}
QLabel[tone="heading"] {{ color: {dim}; font-size: {px13}px; font-weight: 700; }}
QLabel[tone="amber"] {{ color: {amber}; font-weight: 700; }}
QLabel[tone="red"] {{ color: {red}; font-weight: 700; }}
QLabel[tone="cover"] {{ color: {cover}; }}
QLabel[tone="bold"] {{ font-weight: 700; }}
QLabel[tone="key"] {{ font-weight: 700; }}
QWidget#header {{ background: {bg}; border-bottom: 1px solid {line}; }}
QWidget#footer {{ background: {bg}; border-top: 1px solid {line}; }}
QWidget#footer QLabel, QWidget#footer QPushButton {{ font-size: {px12}px; color: {dim}; }}
QWidget#footer QLabel[tone="amber"], QWidget#footer QPushButton[tone="amber"] {{
  color: {amber}; font-weight: 700; }}
QWidget#footer QPushButton {{ padding: 1px {px6}px; }}
QWidget#footer QLabel[tone="red"] {{ color: {red}; }}
QFrame#cell {{ background: {bg}; border: none; padding: 4px; }}
QFrame#cell[severity="red"] {{ background: {red_bg}; }}
QFrame#cell[severity="amber"] {{ border: 2px solid {amber}; padding: 2px; }}
QFrame#cell[severity="red"] QLabel[tone="bold"] {{ color: {red}; }}
QFrame#cell[severity="amber"] QLabel[tone="bold"] {{ color: {amber}; }}
QFrame#cell[solid="true"] {{ background: {alarm}; }}
QFrame#cell[solid="true"][alone="true"] {{ border: 4px solid {ink}; padding: 0; }}
QFrame#cell[solid="true"] QLabel, QFrame#cell[solid="true"] QPushButton {{ color: {on_alarm}; }}
QFrame#cell[solid="true"] QLabel[tone="bold"] {{ color: {on_alarm}; }}
QFrame#cell[solid="true"] QPushButton {{ background: {alarm}; border-color: {on_alarm}; }}
QLabel[part="strip"] {{ font-size: {px13}px; }}
QWidget#strip {{ background: {bg}; border-bottom: 1px solid {line}; }}
QWidget#listen {{ background: {panel}; border-top: 1px solid {line}; }}
QWidget#aside {{ background: {bg}; border-left: 1px solid {line}; }}
QWidget#standby, QWidget#break {{ background: {ink}; }}
QWidget#silent {{ background: {red}; }}
QWidget#standby QLabel, QWidget#break QLabel, QWidget#silent QLabel {{ color: {bg};
  font-size: {px15}px; }}
QWidget#standby QLabel[tone="mark"], QWidget#break QLabel[tone="mark"],
QWidget#silent QLabel[tone="mark"] {{ font-size: {px22}px; font-weight: 700; }}
QLabel[tone="quiet"] {{ background: {ink}; color: {bg}; font-weight: 700;
  padding: {px4}px {px9}px; border-radius: 4px; }}
QFrame#card, QFrame#panel {{ background: {panel}; border: 1px solid {line}; border-radius: 6px; }}
QFrame#card[severity="red"], QFrame#card[severity="amber"] {{ border-top-left-radius: 0;
  border-bottom-left-radius: 0; }}
QFrame#card {{ padding: 3px 3px 3px 11px; }}
QFrame#card[severity="red"] {{ border-left: 8px solid {red}; padding: 3px 3px 3px 4px; }}
QFrame#card[severity="amber"] {{ border: 2px solid {amber}; border-left: 8px solid {amber};
  padding: 2px 2px 2px 4px; }}
QFrame#card[solid="true"] {{ background: {alarm}; border: 2px solid {alarm};
  border-left: 8px solid {alarm}; padding: 2px 2px 2px 4px; }}
QFrame#card[solid="true"][alone="true"] {{ border: 4px solid {ink};
  border-left: 12px solid {ink}; padding: 0; }}
QFrame#card[solid="true"] QLabel, QFrame#card[solid="true"] QPushButton {{ color: {on_alarm}; }}
QFrame#card[solid="true"] QPushButton {{ background: {alarm}; border-color: {on_alarm}; }}
QFrame#card[chosen="true"] {{ border-top-color: {ink}; border-right-color: {ink};
  border-bottom-color: {ink}; }}
QFrame#card[chosen="true"][severity="none"] {{ border-left-color: {ink}; }}
QLabel[part="title"] {{ font-size: {px17}px; font-weight: 700; }}
QLabel[part="first"] {{ font-size: {px15}px; font-weight: 700; }}
QLabel[part="where"] {{ font-size: {px15}px; }}
QLabel[part="title"][severity="red"] {{ color: {red}; }}
QLabel[part="title"][severity="amber"] {{ color: {amber}; }}
QLabel[part="title"][severity="none"] {{ color: {dim}; font-size: {px14}px; }}
QPushButton {{ background: {panel}; border: 1px solid {edge}; border-radius: 4px;
  padding: {px4}px {px9}px; font-size: {px12}px; }}
QPushButton:hover {{ border-color: {ink}; }}
QPushButton:pressed {{ background: {line}; }}
QPushButton:focus {{ border: 2px solid {cover}; padding: {px4less1}px {px9less1}px; }}
QListWidget:focus, QSlider:focus, QLineEdit:focus, QComboBox:focus,
QAbstractSpinBox:focus, QTableView:focus {{ border: 2px solid {cover}; }}
QCheckBox::indicator, QListWidget::indicator {{ width: {px12}px; height: {px12}px;
  background: {bg}; border: 1px solid {edge}; border-radius: 3px; }}
QCheckBox::indicator:checked, QListWidget::indicator:checked {{ background: {ink};
  border-color: {ink}; }}
QCheckBox:focus {{ color: {cover}; text-decoration: underline; }}
QLineEdit, QComboBox, QAbstractSpinBox {{ background: {bg}; border: 1px solid {edge};
  border-radius: 4px; padding: {px4}px {px6}px; selection-background-color: {cover};
  selection-color: {bg}; }}
QAbstractSpinBox QLineEdit {{ color: {ink}; background: transparent; border: none;
  padding: 0; margin: 0; }}
QAbstractSpinBox::up-button, QAbstractSpinBox::down-button {{ width: 0; border: none; }}
QComboBox::drop-down {{ border: none; background: transparent; width: {px17}px; }}
QComboBox::down-arrow {{ width: 0; height: 0; border-left: {px4}px solid {bg};
  border-right: {px4}px solid {bg}; border-top: {px6}px solid {dim}; }}
QTableView {{ background: {panel}; border: 1px solid {line}; border-radius: 6px;
  gridline-color: {line}; selection-background-color: {line}; selection-color: {ink}; }}
QHeaderView::section {{ background: {bg}; color: {dim}; border: none; font-weight: 700;
  padding: {px4}px {px12}px; }}
QTableView::item:selected {{ border: 1px solid {cover}; }}
QTableView::item {{ padding: {px4}px {px9}px; }}
QTableView#overview {{ font-size: {px17}px; gridline-color: {panel}; }}
QTableView QLineEdit, QTableView QComboBox {{ border: none; border-radius: 0;
  padding: 0 {px9}px; }}
QTableView QLineEdit:focus, QTableView QComboBox:focus {{ border: 2px solid {cover};
  padding: 0 {px6}px; }}
QDialog {{ background: {bg}; }}
QDialog QAbstractItemView {{ background: {panel}; color: {ink}; border: 1px solid {line};
  alternate-background-color: {bg}; selection-background-color: {line}; selection-color: {ink}; }}
QDialog QToolButton {{ background: {panel}; border: 1px solid {edge}; border-radius: 4px;
  padding: 2px; }}
QScrollBar:horizontal {{ background: {bg}; height: {px9}px; }}
QScrollBar::handle:horizontal {{ background: {edge}; border-radius: 4px; min-width: 30px; }}
QMenu {{ background: {panel}; color: {ink}; border: 1px solid {edge}; }}
QMenu::item:selected {{ background: {line}; }}
QWidget#closer {{ background: {bg}; }}
QPushButton:disabled {{ color: {dim}; border-color: {line}; }}
QPushButton[main="true"] {{ font-size: {px15}px; font-weight: 700; padding: {px9}px {px14}px; }}
QPushButton[main="true"]:focus {{ padding: {px9less1}px {px14less1}px; }}
QPushButton[primary="true"] {{ background: {ink}; color: {bg}; border-color: {ink}; }}
QPushButton[primary="true"]:focus {{ border: 3px solid {cover};
  padding: {px4less2}px {px9less2}px; }}
QPushButton[main="true"][primary="true"]:focus {{ padding: {px9less2}px {px14less2}px; }}
QPushButton[primary="true"]:disabled {{ background: {panel}; color: {dim}; border-color: {line}; }}
QListWidget {{ background: {panel}; border: 1px solid {line}; border-radius: 6px; }}
QListWidget::item {{ padding: {px6}px {px9}px; color: {ink};
  border-left: 3px solid transparent; }}
QListWidget::item:selected {{ background: {line}; color: {ink}; border-left: 3px solid {ink}; }}
QComboBox QAbstractItemView {{ background: {panel}; selection-background-color: {line};
  selection-color: {ink}; }}
QProgressBar {{ background: {bg}; border: 1px solid {edge}; border-radius: 4px;
  height: {px12}px; }}
QProgressBar::chunk {{ background: {bar}; border-radius: 3px; }}
QSlider::groove:horizontal {{ height: 4px; background: {edge}; border-radius: 2px; }}
QSlider::handle:horizontal {{ width: {px12}px; margin: -{px6}px 0; border-radius: 4px;
  background: {ink}; }}
QSlider {{ border: 2px solid transparent; background: transparent; }}
QToolTip {{ background: {panel}; color: {ink}; border: 1px solid {edge}; }}
QScrollBar:vertical {{ background: {bg}; width: {px9}px; }}
QScrollBar::handle:vertical {{ background: {edge}; border-radius: 4px; min-height: 30px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; }}
"""


def sheet(look: Look, scale: float) -> str:
    """The style sheet of all ordinary widgets in that look, enlarged by `scale`."""
    sizes = {f"px{n}": max(1, round(n * scale)) for n in (4, 6, 9, 12, 13, 14, 15, 17, 22, 28, 46)}
    # A frame grows inwards: what it takes comes out of the padding, never out of the words.
    sizes |= {f"px{n}less{by}": sizes[f"px{n}"] - by for n in (4, 9, 14) for by in (1, 2)}
    colours = {f.name: getattr(look, f.name) for f in fields(look)}
    return _SHEET.format(family=family(), **colours, **sizes)

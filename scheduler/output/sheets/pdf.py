"""A sheet as a PDF, letter or A4, in the font that the chart library carries."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from scheduler.output.sheets.sheet import Grid, Section, Sheet
from scheduler.planning.reports.briefing import LINE

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN_MM: Final = 14
TEXT_MM: Final = 5.0  # height of a line
BOX: Final = "\u2610 "
TICKED: Final = "\u2611 "
GREY: Final = (230, 230, 230)


def pdf(sheet: Sheet, *, units: str) -> bytes:
    """Return the sheet as a PDF; US units print on letter paper, else A4."""
    from fpdf import FPDF

    document = FPDF(format="letter" if units == "us" else "A4")
    document.set_margin(MARGIN_MM)
    document.set_auto_page_break(auto=True, margin=MARGIN_MM)
    for style, name in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
        document.add_font("sans", style, _font(name))
    document.set_title(sheet.title)
    document.add_page()
    _text(document, sheet.title, size=15, bold=True)
    _text(document, sheet.under, size=9)
    for section in sheet.sections:
        _section(document, section)
    document.ln(3)
    for text in (*(f"Beware: {text}" for text in sheet.cautions), LINE):
        _text(document, text, size=9, bold=True)
    if sheet.signs:
        _signs(document, sheet.signs)
    return bytes(document.output())


def _font(name: str) -> Path:
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf" / name


def _text(document: FPDF, text: str, *, size: float = 9.5, bold: bool = False) -> None:
    document.set_font("sans", "B" if bold else "", size)
    document.multi_cell(0, TEXT_MM * max(size / 10, 0.9), text, new_x="LMARGIN", new_y="NEXT")


def _section(document: FPDF, section: Section) -> None:
    document.ln(2)
    _text(document, section.heading, size=11, bold=True)
    for line in section.lines:
        _text(document, line)
    for tick in section.ticks:
        _text(document, (TICKED if tick.done else BOX) + tick.text)
    if section.grid is not None and section.grid.rows:
        _grid(document, section.grid)


def _grid(document: FPDF, grid: Grid) -> None:
    from fpdf.fonts import FontFace

    document.set_font("sans", "", 8)
    marked = FontFace(emphasis="BOLD", fill_color=GREY)
    with document.table(
        col_widths=grid.widths or None,
        line_height=4,
        text_align="LEFT",
        v_align="TOP",
        headings_style=FontFace(emphasis="BOLD"),
        padding=0.8,
    ) as table:
        table.row(grid.header)
        for number, cells in enumerate(grid.rows):
            table.row(cells, style=marked if number in grid.marked else None)


def _signs(document: FPDF, signs: tuple[str, ...]) -> None:
    document.ln(14)
    width = document.epw / len(signs)
    for number, text in enumerate(signs):
        left = document.l_margin + number * width
        document.line(left, document.y, left + width - 6, document.y)
        document.set_xy(left, document.y)
        document.set_font("sans", "", 8)
        document.cell(width, TEXT_MM, text, new_x="RIGHT", new_y="TOP")

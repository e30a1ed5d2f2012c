"""Worklists: the ranked units as CSV (all of them) and as an Excel workbook (the first of each side), for planning;
and the rejected rows, to be mended where they came from.

What belongs here: file formats, and making text harmless: a cell that a spreadsheet would take for a formula is text.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
import xlsxwriter

from reports import caps, words
from reports.operations import SIDE_TITLES
from reports.queries import Published, Result, Row
from reports.sheet import QuickSheet

NAMES = ("worklist.csv", "worklist.xlsx", "rejected_rows.csv")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
WIDTHS = {
    "site_label": 28,
    "check_first": 70,
    "branch": 18,
    "problem_side": 16,
    "static_state": 12,
    "mode": 9,
}
UNITS = {"_inwc": "0.00", "_cfm": "0", "_w": "0", "_year": "0.00"}


def write_worklists(published: Published, publication: Row, folder: Path) -> list[Path]:
    """Write the files into `folder` and return their paths."""
    csv, workbook, rejected = (folder / name for name in NAMES)
    ranked = published.rows("ranked", top=caps.WORKLIST_ROWS, top_in_branch=0)
    harmless(ranked.frame).write_csv(csv)
    upkeep = published.rows("upkeep", top=caps.SHEET_ROWS)
    wanted = published.rows("visits_wanted", top=caps.SHEET_ROWS)
    rising = published.rows("getting_worse", top=caps.SHEET_ROWS)
    more = {"Upkeep": upkeep.frame, "Getting worse": rising.frame, "Visits wanted": wanted.frame}
    _write_workbook(workbook, ranked, more, publication)
    harmless(published.rows("rejected_list", top=caps.WORKLIST_ROWS).frame).write_csv(rejected)
    return [csv, workbook, rejected]


def harmless(frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with an apostrophe before each text that a spreadsheet would read as a formula."""
    return frame.with_columns(
        pl.when(_starts_a_formula(name))
        .then(pl.concat_str(pl.lit("'"), name))
        .otherwise(pl.col(name))
        .alias(name)
        for name, kind in frame.schema.items()
        if kind == pl.String
    )


def _starts_a_formula(name: str) -> pl.Expr:
    return pl.any_horizontal(pl.col(name).str.starts_with(start) for start in FORMULA_STARTS)


def _write_workbook(path: Path, ranked: Result, more: dict[str, pl.DataFrame], publication: Row) -> None:
    book = xlsxwriter.Workbook(
        str(path), {"strings_to_formulas": False, "strings_to_urls": False, "constant_memory": True}
    )
    book.set_properties({"title": "Worklist", "created": publication["published_at"].replace(tzinfo=None)})
    sheets = {
        title: ranked.frame.filter(pl.col("problem_side") == side) for side, title in SIDE_TITLES.items()
    }
    for title, frame in (sheets | more).items():
        if title in more or frame.height:
            _write_sheet(book, title, frame.head(caps.SHEET_ROWS))
    book.close()


def _write_sheet(book: Any, title: str, frame: pl.DataFrame) -> None:
    """One sheet: frozen header, autofilter, widths and number formats by column; text is written as text."""
    sheet = book.add_worksheet(title, worksheet_class=QuickSheet)
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    sheet.freeze_panes(1, 0)
    if frame.width:
        sheet.autofilter(0, 0, max(frame.height, 1), frame.width - 1)
    for column, name in enumerate(frame.columns):
        sheet.set_column(
            column, column, WIDTHS.get(name, 13), book.add_format({"num_format": _number_format(name)})
        )
        sheet.write_string(0, column, heading(name), head)
    sheet.write_rows(frame)


def _number_format(name: str) -> str:
    if name.startswith("prob_"):
        return "0 %"
    return next((form for ending, form in UNITS.items() if name.endswith(ending)), "General")


def heading(name: str) -> str:
    """A column's name as a heading with its unit: level_inwc becomes level, in. w.c."""
    for ending, unit in (("_inwc", "in. w.c."), ("_cfm", "cfm"), ("_w", "W"), ("_on", "day")):
        if name.endswith(ending):
            return f"{words.word(name.removesuffix(ending))}, {unit}"
    return words.word(name)

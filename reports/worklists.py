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
PROBABILITY = '[>0.99]">99 %";[<0.01]"<1 %";0 %'  # as on the pages: never called certain
ENDINGS = (
    ("_inwc_per_year", "in. w.c. a year"),
    ("_inwc", "in. w.c."),
    ("_cfm", "cfm"),
    ("_w", "W"),
    ("_on", "day"),
)
PLAIN = {"lo": "at least (95 %)", "hi": "at most (95 %)", "prob": "probability", "tesp": "total static"}
HOLDS = (
    "Return side, supply side, fan, side not known: units in service that are chronic or uncertain, one line a "
    "unit, its worse mode first, the other mode beside it. Left out: units within their rating, and those with "
    "too few visits.",
    "Upkeep: over the rating as found, within it like new. Getting worse: units whose static rises. Visits "
    "wanted: units that one or two good visits settle.",
    f"No sheet has more than {caps.SHEET_ROWS:,} lines; worklist.csv beside this file holds all ranked units.",
)
COLUMNS_MEAN = (
    "level: total external static like new, in cooling or in heating, with its 95 % interval. expected excess: "
    "what is expected over the rating; it ranks the list. probability over rated: that the level is over the "
    "rating. probability side: that the problem side is the largest cause; empty where no airflow is known.",
    "n visits: visits that the level rests on. n offset corrected: of these, those corrected for a doubtful "
    "zero. line number, line in side, n in side, n ranked: place in the list and numbers of lines. extra cost "
    "per year: of the extra power, at the tariff and hours of the settings, in the tariff's currency.",
)
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
    _write_notes(book, publication)
    for title, frame in (sheets | more).items():
        if title in more or frame.height:
            _write_sheet(book, title, frame.head(caps.SHEET_ROWS))
    book.close()


def _write_notes(book: Any, publication: Row) -> None:
    """The first sheet: what the others hold and leave out, and the cautions of every page, for a list travels alone."""
    sheet = book.add_worksheet("Read first")
    bold = book.add_format({"bold": True, "text_wrap": True})
    plain = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 110)
    made = f"Worklist, reference day {words.day(publication['today'])}"
    parts = {
        made: (),
        words.BEFORE: words.CAUTIONS,
        "What each sheet holds": HOLDS,
        "What the columns mean": COLUMNS_MEAN,
    }
    lines = [
        line for head, texts in parts.items() for line in ((head, bold), *((text, plain) for text in texts))
    ]
    for number, (text, form) in enumerate(lines):
        sheet.write_string(number, 0, text, form)


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
    if name.startswith(("prob_", "other_prob_")):
        return PROBABILITY
    return next((form for ending, form in UNITS.items() if name.endswith(ending)), "General")


def heading(name: str) -> str:
    """A column's name as a heading with its unit: level_lo_inwc becomes level at least (95 %), in. w.c."""
    name = {"slope_lo": "slope_lo_inwc_per_year", "slope_hi": "slope_hi_inwc_per_year"}.get(name, name)
    for ending, unit in ENDINGS:
        if name.endswith(ending):
            return f"{_plain_words(name.removesuffix(ending))}, {unit}"
    return _plain_words(name)


def _plain_words(name: str) -> str:
    return " ".join(PLAIN.get(part, part) for part in words.word(name).split(" "))

"""Rows written at once are, byte for byte, the rows that XlsxWriter writes cell by cell."""

from __future__ import annotations

import zipfile
from datetime import date
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter

from reports.sheet import QuickSheet

FRAMES = {
    "every kind of value": pl.DataFrame(
        {
            "rank": [1, 20, None, 123456789012345678],
            "level": [0.1 + 0.2, -1e-17, 1e300, None],
            "small": pl.Series([0.5, None, 2.0, -0.0], dtype=pl.Float32),
            "day": [date(2026, 4, 1), None, date(1999, 12, 31), date(2026, 4, 1)],
            "known": [True, False, None, True],
            "label": ["a", "a", None, "=1+1"],
            "nothing": pl.Series([None] * 4, dtype=pl.String),
        }
    ),
    "hostile texts": pl.DataFrame(
        {
            "label": [
                "<b>&\"'</b>",
                " leads",
                "trails\n",
                "",
                "\x00\x1f_x0041_\ufffe",
                "\u202eשלום 👷🏽‍♀️",
                "\u00a0",
                "two\nlines",
            ]
        }
    ),
    "many columns": pl.DataFrame({f"c{i}": [i + 0.25, i + 0.5] for i in range(30)}),
    "no rows": pl.DataFrame(schema={"rank": pl.Int64, "label": pl.String}),
}


def sheet(path: Path, frame: pl.DataFrame, *, quick: bool) -> bytes:
    """The XML of a sheet with a heading and the frame's rows."""
    book = xlsxwriter.Workbook(
        str(path), {"strings_to_formulas": False, "strings_to_urls": False, "constant_memory": True}
    )
    page = book.add_worksheet("Rows", worksheet_class=QuickSheet)
    for number, name in enumerate(frame.columns):
        page.set_column(number, number, 13, book.add_format({"num_format": "0.00"}))
        page.write_string(0, number, name)
    if quick:
        page.write_rows(frame)
    else:
        for line, values in enumerate(frame.iter_rows(), 1):
            for column, value in enumerate(values):
                if isinstance(value, bool | str | date):
                    page.write_string(line, column, str(value))
                elif value is not None:
                    page.write_number(line, column, value)
    book.close()
    with zipfile.ZipFile(path) as file:
        return file.read("xl/worksheets/sheet1.xml")


@pytest.mark.parametrize("name", FRAMES)
def test_rows_are_those_of_the_library(name: str, tmp_path: Path) -> None:
    frame = FRAMES[name]
    quick = sheet(tmp_path / "quick.xlsx", frame, quick=True)
    assert quick == sheet(tmp_path / "plain.xlsx", frame, quick=False)
    assert quick.count(b"<row ") == 1 + frame.height


def test_what_is_no_number_has_no_cell(tmp_path: Path) -> None:
    frame = pl.DataFrame({"level": [float("nan"), float("inf"), 0.5, None]})
    assert sheet(tmp_path / "quick.xlsx", frame, quick=True).count(b"<v>") == 1


def test_a_text_is_cut_to_what_a_cell_holds(tmp_path: Path) -> None:
    long = sheet(tmp_path / "quick.xlsx", pl.DataFrame({"label": ["👷" * 40_000]}), quick=True).decode()
    assert long.count("👷") == 16_000


def test_text_that_looks_like_the_librarys_own_markup_stays_text(tmp_path: Path) -> None:
    """XlsxWriter takes a text from <r> to </r> for formatted pieces and writes it as it is."""
    text = "<r><t>x</t></r>"
    written = sheet(tmp_path / "quick.xlsx", pl.DataFrame({"label": [text]}), quick=True)
    assert b"&lt;r&gt;" in written

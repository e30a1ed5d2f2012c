"""A worksheet whose rows are written at once, column by column: a fifth of the time that XlsxWriter takes cell by cell.

What belongs here: the XML of rows and cells, byte for byte what XlsxWriter itself writes in its constant-memory mode (a
test compares them). What does not: which columns there are and how they look.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import polars as pl
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from reports import words

PLAIN = re.compile(r"[A-Za-z0-9 .,:;()/+-]*")  # no letter of which a sheet's XML would escape
LONGEST = 16_000  # characters of a text: a cell holds 32,767 units of UTF-16, at most two a character


class QuickSheet(Worksheet):  # type: ignore[misc]
    """For `add_worksheet(name, worksheet_class=QuickSheet)` of a workbook in constant-memory mode."""

    def write_rows(self, frame: pl.DataFrame) -> None:
        """Write the frame's rows below the first row; every column must have its format (`set_column`).

        Text is written as text, days as text too, what is not known or no number as no cell.
        """
        if frame.is_empty():
            return
        self._check_dimensions(frame.height, frame.width - 1)
        self._write_single_row(frame.height)  # what was written of the first row so far
        columns = [self._cells(number, column) for number, column in enumerate(frame)]
        self.fh.writelines(
            f'<row r="{line}">{"".join(cells)}</row>'
            for line, cells in enumerate(zip(*columns, strict=True), 2)
        )

    def _cells(self, number: int, column: pl.Series) -> list[str]:
        """The cells of one column, from the second row on; an empty text where there is none."""
        start = f'<c r="{xl_col_to_name(number)}'
        style = f'" s="{self.col_info[number].column_format._get_xf_index()}"'
        if column.dtype.is_numeric():
            numbers = _finite(column).to_list()
            return [
                "" if value is None else f"{start}{line}{style}><v>{value:.16G}</v></c>"
                for line, value in enumerate(numbers, 2)
            ]
        texts = {value: self._inline(value) for value in column.unique()}
        return [
            "" if value is None else f"{start}{line}{style}{texts[value]}</c>"
            for line, value in enumerate(column.to_list(), 2)
        ]

    def _inline(self, value: Any) -> str:
        """What follows a cell's attributes where it holds this text."""
        text = words.day(value) if isinstance(value, date) else str(value)[:LONGEST]
        keep = ' xml:space="preserve"' if text[:1].isspace() or text[-1:].isspace() else ""
        if not PLAIN.fullmatch(text):
            text = self._escape_data(self._escape_control_characters(text))
        return f' t="inlineStr"><is><t{keep}>{text}</t></is>'


def _finite(column: pl.Series) -> pl.Series:
    """The column with nothing in place of what is no number."""
    if not column.dtype.is_float():
        return column
    return column.to_frame().select(pl.when(pl.first().is_finite()).then(pl.first())).to_series()

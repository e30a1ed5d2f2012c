"""Rows as an aligned table of plain text.

To a pipe: every column and every row, nothing else. On a terminal: as many columns as fit, long cells cut, the first
rows only, and a last line that says what is not shown.
"""

from __future__ import annotations

import shutil
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TextIO

import polars as pl

CELL_ON_TERMINAL = 60
ROWS_ON_TERMINAL = 500
GAP = "  "


@dataclass(frozen=True)
class _Shape:
    """Widths of the columns that are shown, and which of them are set right (numbers)."""

    widths: list[int]
    right: list[bool]

    def line(self, cells: list[str]) -> str:
        """One line of the table, without trailing blanks."""
        set_ = [_set(c, w, r) for c, w, r in zip(cells, self.widths, self.right, strict=False)]
        return GAP.join(set_).rstrip() + "\n"


def write_table(columns: list[str], right: list[bool], frames: Iterator[pl.DataFrame], out: TextIO) -> None:
    """Write the rows under their names. Widths follow the first frame; a longer cell further on stands out."""
    terminal = out.isatty()
    first = next(frames)
    head = [_shown(name, terminal) for name in columns]
    shown = first.head(ROWS_ON_TERMINAL) if terminal else first
    cells = _cells(shown, terminal)
    widths = [max(map(_width, [h, *column])) for h, column in zip(head, cells, strict=True)]
    fit = _fitting(widths) if terminal else len(widths)
    shape = _Shape(widths[:fit], right[:fit])
    out.write(shape.line(head))
    out.write(GAP.join("-" * w for w in shape.widths) + "\n")
    _write_cells(cells, shape, out)
    if terminal:
        more = first.height > shown.height or next(frames, None) is not None
        out.write(_note(columns, fit, shown.height, more))
        return
    for frame in frames:
        _write_cells(_cells(frame, terminal), shape, out)


def _write_cells(cells: list[list[str]], shape: _Shape, out: TextIO) -> None:
    out.writelines(shape.line(list(row)) for row in zip(*cells, strict=True))


def _cells(frame: pl.DataFrame, cut: bool) -> list[list[str]]:
    return [
        ["" if value is None else _shown(value, cut) for value in series] for series in frame.iter_columns()
    ]


def _shown(text: str, cut: bool) -> str:
    """A text on one line: line breaks and control characters (a terminal would obey them) written out."""
    if not text.isprintable():
        text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    return text[: CELL_ON_TERMINAL - 1] + "…" if cut and len(text) > CELL_ON_TERMINAL else text


def _width(text: str) -> int:
    """Columns that a text takes: wide characters two, combining marks none."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text
    )


def _set(text: str, width: int, right: bool) -> str:
    blanks = " " * (width - _width(text))
    return blanks + text if right else text + blanks


def _fitting(widths: list[int]) -> int:
    """How many columns fit on the terminal; at least one."""
    room = shutil.get_terminal_size((100, 24)).columns
    taken = 0
    for number, width in enumerate(widths):
        taken += width + (len(GAP) if number else 0)
        if taken > room and number > 0:
            return number
    return len(widths)


def _note(columns: list[str], fit: int, rows: int, more: bool) -> str:
    """What a terminal does not show, and how to see it."""
    said = [f"the first {rows} rows" if more else f"{rows} row{'' if rows == 1 else 's'}"]
    if fit < len(columns):
        said.append(f"not shown for want of room: {', '.join(columns[fit:])} (--format csv has all)")
    return f"({'; '.join(said)})\n"

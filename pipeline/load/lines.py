"""Where the rows of a file stand: physical lines and raw text, found without a loop over lines.

What does not belong here: which rows are wanted (`resolve.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

Ints = NDArray[np.int64]
PIECE = 1 << 24


@dataclass(frozen=True)
class Records:
    """The records of a file, header included: byte where each starts (and the file's end), its line, is it blank."""

    data: NDArray[np.uint8]
    starts: Ints
    lines: Ints
    blank: NDArray[np.bool_]

    def of_rows(self, ragged: Ints) -> Ints:
        """Record numbers of the staged rows, in order: neither header nor blank nor ragged."""
        row = ~self.blank
        row[np.flatnonzero(row)[:1]] = False
        row[ragged] = False
        return np.flatnonzero(row)

    def texts(self, records: Ints) -> list[str]:
        """Raw text of these records, without the line break that ends them."""
        whole = pa.LargeStringArray.from_buffers(
            len(self.starts) - 1, pa.py_buffer(self.starts), pa.py_buffer(self.data)
        )
        return [str(t) for t in pc.utf8_rtrim(whole.take(pa.array(records)), "\r\n").to_pylist()]


def find_records(text: Path) -> Records:
    """Split a file at the line breaks that stand outside quotes."""
    data = np.fromfile(text, dtype=np.uint8)
    newlines = _places(data, ord("\n"))
    quotes = _places(data, ord('"'))
    breaks = newlines[np.searchsorted(quotes, newlines) % 2 == 0]
    starts = np.concatenate(([0], breaks + 1))
    if starts[-1] == len(data):
        starts = starts[:-1]
    ends = np.append(starts[1:], len(data)).astype(np.int64)
    lines = np.searchsorted(newlines, starts) + 1
    length = ends - starts
    first = data[starts]
    blank = ((length == 1) & (first == 10)) | ((length == 2) & (first == 13))
    return Records(data, np.append(starts, len(data)).astype(np.int64), lines.astype(np.int64), blank)


def _places(data: NDArray[np.uint8], byte: int) -> Ints:
    found = [np.flatnonzero(data[i : i + PIECE] == byte) + i for i in range(0, len(data), PIECE)]
    return np.concatenate(found).astype(np.int64) if found else np.empty(0, dtype=np.int64)


def lines_of(text: Path, ragged: Ints, ordinals: Ints) -> pl.DataFrame:
    """ordinal, line_number, raw_line of some staged rows of one file."""
    records = find_records(text)
    wanted = records.of_rows(ragged)[ordinals]
    return pl.DataFrame(
        {"ordinal": ordinals, "line_number": records.lines[wanted], "raw_line": records.texts(wanted)},
        schema={"ordinal": pl.Int64, "line_number": pl.Int64, "raw_line": pl.String},
    )

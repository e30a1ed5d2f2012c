"""Lines of a text of which every record is one line, found by what was counted when it was measured.

A file is looked at again wherever a row of it is shown: one of its own that cannot be read, or one that a later file
corrects. Its line breaks were counted piece by piece (`copying.py`), so only the pieces that hold such rows are read.
What does not belong here: texts with quotes, returns or blank lines, whose records have to be sought (`records.py`).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.load.records import Ints

Mark = tuple[int, int]  # a place in the text, and how many line breaks stand before it


@dataclass(frozen=True)
class Lines:
    """The lines of the text at `path`; `marks` are those of its pieces, the first one (0, 0)."""

    path: Path
    marks: Sequence[Mark]

    def rows(self, ragged: Ints, ordinals: Ints) -> list[tuple[int, str]]:
        """Line number and text of staged rows, given by their ordinals; `ragged`: the others, as DuckDB counts them."""
        before = np.sort(ragged) - 1 - np.arange(len(ragged))  # rows, and the header, before each ragged one
        rows = ordinals + 1
        return self._read(rows + np.searchsorted(before, rows, side="right"))

    def numbered(self, numbers: Ints) -> list[tuple[int, str]]:
        """The same of the records that DuckDB calls by these numbers, which count from 1."""
        return self._read(numbers - 1)

    def _read(self, places: Ints) -> list[tuple[int, str]]:
        """Line number and text of lines, given by how many line breaks stand before them; the header is never asked."""
        texts: dict[int, str] = {}
        wanted = np.unique(places).tolist()
        counts = [count for _, count in self.marks]
        with self.path.open("rb") as file:
            while len(texts) < len(wanted):
                piece = bisect_left(counts, wanted[len(texts)]) - 1
                at, count = self.marks[piece]
                last = piece + 1 == len(self.marks)
                file.seek(at)
                text = file.read(-1 if last else self.marks[piece + 1][0] - at) + file.readline()
                lines = text.split(b"\n")
                end = wanted[-1] + 1 if last else counts[piece + 1] + 1
                for place in wanted[len(texts) : bisect_left(wanted, end)]:
                    texts[place] = lines[place - count].decode("utf-8", errors="replace")
        return [(place + 1, texts[place]) for place in places.tolist()]

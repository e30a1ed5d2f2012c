"""Which column of a file is which column of the contract, and which are others.

What does not belong here: how values are read (`values.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from pipeline.load.escape import shown
from pipeline.load.header import Header
from pipeline.load.inputs import Table
from pipeline.load.mapping import Mapping

MISSPELT = 0.8  # so much alike; 1 is the same


@dataclass(frozen=True)
class Layout:
    """One file as it will be read. places, extras: column -> place in the file, from 0.

    `extras` are the columns that the contract does not know; they are kept as they are. `missing` are the required
    columns that the file lacks, in words. `one_thread`: another file is read at the same time, so one is enough for it.
    """

    table: Table
    header: Header
    mapping: Mapping
    text: Path
    parquet: bool
    returns: bool
    places: dict[str, int]
    extras: dict[str, int]
    missing: tuple[str, ...]
    one_thread: bool = False

    @property
    def decimal_comma(self) -> bool:
        """A comma is a decimal mark where the mapping says so, else where it does not separate values."""
        if self.mapping.decimal_comma is not None:
            return self.mapping.decimal_comma
        return self.header.separator != ","

    def named(self, extra: str) -> str:
        """An unknown column in words, with the column of the contract that it may be, misspelt."""
        absent = [c.name for c in self.table.columns if c.name not in self.places]
        close = get_close_matches("_".join(extra.casefold().split()), absent, n=1, cutoff=MISSPELT)
        return f"{shown(extra)} (did you mean {close[0]}?)" if close else shown(extra)


def lay_out(
    table: Table, header: Header, mapping: Mapping, text: Path, parquet: bool = False, returns: bool = False
) -> Layout:
    """Match header names to the table's columns: what the mapping calls them, else the contract's own names."""
    by_name = {name.casefold(): place for place, name in enumerate(header.names) if name}
    mapped = mapping.of(table)
    places: dict[str, int] = {}
    missing: list[str] = []
    for column in table.columns:
        theirs = mapped.columns.get(column.name, column.name)
        place = by_name.get(theirs.strip().casefold(), by_name.get(column.name))
        if place is not None:
            places[column.name] = place
        elif column.required and column.name not in mapped.constants:
            missing.append(
                column.name if theirs == column.name else f"{column.name} (in the mapping: {theirs})"
            )
    used = set(places.values())
    extras = {n or f"column {i + 1}": i for i, n in enumerate(header.names) if i not in used}
    return Layout(table, header, mapping, text, parquet, returns, places, extras, tuple(missing))

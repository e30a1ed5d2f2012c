"""Which column of a file is which column of the contract, and which are others.

What does not belong here: how values are read (`values.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.load.escape import shown
from pipeline.load.header import Header
from pipeline.load.inputs import Table
from pipeline.load.mapping import Mapping

MISSPELT = 0.8  # so much alike; 1 is the same
SIMILAR = 0.6  # likewise, of names that are nobody's standard


@dataclass(frozen=True)
class Layout:
    """One file as it will be read. places, clocks, extras: column -> place in the file, from 0.

    `clocks` are the times of day of those times whose place holds the day alone.
    `extras` are the columns that the contract does not know; they are kept as they are. `missing` are the required
    columns that the file lacks, in words. `unfound`: what the mapping calls other columns, and the file has not.
    `one_thread`: another file is read at the same time, so one is enough for it.
    """

    table: Table
    header: Header
    mapping: Mapping
    text: Path
    parquet: bool
    returns: bool
    places: dict[str, int]
    clocks: dict[str, int]
    extras: dict[str, int]
    missing: tuple[str, ...]
    unfound: tuple[str, ...] = ()
    one_thread: bool = False

    @property
    def decimal_comma(self) -> bool:
        """A comma is a decimal mark where the mapping says so, else where it does not separate values."""
        if self.mapping.decimal_comma is not None:
            return self.mapping.decimal_comma
        return self.header.separator != ","

    def called(self, column: str) -> str:
        """What the file calls one of the columns that it has; two names, where a time stands in two."""
        places = [self.places[column], *([self.clocks[column]] if column in self.clocks else [])]
        return " ".join(self.header.names[place].strip() for place in places)

    def named(self, extra: str) -> str:
        """An unknown column in words, with the column of the contract that it may be, misspelt."""
        absent = [c.name for c in self.table.columns if c.name not in self.places]
        close = get_close_matches("_".join(extra.casefold().split()), absent, n=1, cutoff=MISSPELT)
        return f"{shown(extra)} (did you mean {close[0]}?)" if close else shown(extra)


def lay_out(
    table: Table, header: Header, mapping: Mapping, text: Path, parquet: bool = False, returns: bool = False
) -> Layout:
    """Match header names to the table's columns: what the mapping calls them, else the contract's own names.

    Raises UsageError where two numbers would be read from one column.
    """
    by_name = {name.casefold(): place for place, name in enumerate(header.names) if name}
    mapped = mapping.of(table)
    places: dict[str, int] = {}
    clocks: dict[str, int] = {}
    missing: list[str] = []
    unfound: list[str] = []
    for column in table.columns:
        theirs = [called[column.name] for called in (mapped.columns, mapped.clocks) if column.name in called]
        if found := _places(theirs, by_name) or _places([column.name], by_name):
            places[column.name], *clock = found
            if clock:
                (clocks[column.name],) = clock
        elif column.required and column.name not in mapped.constants:
            missing.append(
                f"{column.name} (in the mapping: {' and '.join(theirs)})" if theirs else column.name
            )
        elif theirs:
            unfound += [
                _unfound(column.name, one, header.names) for one in theirs if not _places([one], by_name)
            ]
    _refuse_twice(table, places, header)
    used = {*places.values(), *clocks.values()}
    extras = {n or _unnamed(i, header.names): i for i, n in enumerate(header.names) if i not in used}
    return Layout(
        table, header, mapping, text, parquet, returns, places, clocks, extras, tuple(missing), tuple(unfound)
    )


def _unnamed(place: int, names: Sequence[str]) -> str:
    """What a column without a name is called; another one may have just that name."""
    called = f"column {place + 1}"
    return f"{called} without a name" if called in names else called


def _places(names: Sequence[str], by_name: dict[str, int]) -> list[int]:
    """Where columns stand in the file; nothing if one of them does not."""
    found = [by_name.get(name.strip().casefold(), -1) for name in names]
    return [] if -1 in found else found


def _unfound(column: str, theirs: str, names: Sequence[str]) -> str:
    close = get_close_matches(theirs.strip().casefold(), [n.casefold() for n in names], n=1, cutoff=SIMILAR)
    hint = next((f" (did you mean {shown(n)}?)" for n in names if n.casefold() in close), "")
    return f"{column}, which the mapping calls {shown(theirs)}{hint}"


def _refuse_twice(table: Table, places: dict[str, int], header: Header) -> None:
    """A time may be that of the visit and of its recording; a number is not read twice."""
    numbers = [c.name for c in table.columns if c.kind == "number" and c.name in places]
    for one in numbers:
        for other in numbers[numbers.index(one) + 1 :]:
            if places[one] == places[other]:
                raise UsageError(
                    f"the mapping reads both {one} and {other} from {shown(header.names[places[one]])}, "
                    "expected a column for each"
                )

"""Guesses about a foreign file: its table, what it calls the contract's columns and words, its units and habits.

What belongs here: guessing. What does not: what others may call things (`called.py`), what the first rows look like
(`looks.py`), and how guesses are written (`mapping_start.py`).
"""

from __future__ import annotations

import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from functools import cached_property
from pathlib import Path

from pipeline.errors import UsageError
from pipeline.load.called import CALLED, SAID, TABLE_CALLED, UNIT_SAID
from pipeline.load.date_guess import option_of
from pipeline.load.header import LOOK, UTF_8, Header, read_header
from pipeline.load.inputs import BY_NAME, BY_ROW, INWC, VISITS, Column, Table
from pipeline.load.layout import Layout, lay_out
from pipeline.load.looks import Looks, look_at
from pipeline.load.mapping import ROW_UNITS, UNITS, Mapping

CLOSE_ENOUGH = 0.6  # so much alike is a column's name to the contract's, or to what it means; 1 is the same
LONG = 12  # letters of a name that is held against what a column means
CALLED_ENOUGH = 0.85  # likewise to what others may call it
HALF = 0.5  # of a table's required columns that a file must seem to have, to be of it
THIRD = 1 / 3  # likewise of a file's columns that must be known
CALLED_SO = 0.2  # what the name of a file counts beside its columns
OLD_ENCODING = "windows-1252"  # of a file that is no UTF-8
BEYOND_INWC = 2.5  # in. w.c.; no reading beyond it is used: a median beyond it is in another unit


@dataclass(frozen=True)
class Foreign:
    """A file that is not as the contract says: how far its columns are known, and what they look like."""

    layout: Layout
    looks: Looks

    @property
    def table(self) -> Table:
        return self.layout.table

    @cached_property
    def guessed(self) -> dict[str, str]:
        """What the file may call the columns that are not known: the most alike pairs of a column and a name, each name
        used once, whose values may be of the column's kind."""
        taken = {self.layout.header.names[place] for place in self.layout.places.values()}
        names = [name for name in self.layout.header.names if name and name not in taken]
        columns = [column for column in self.table.columns if column.name not in self.layout.places]
        pairs = ((_alike(column, name), column, name) for column in columns for name in names)
        found: dict[str, str] = {}
        for likeness, column, name in sorted(pairs, key=lambda pair: (-pair[0], pair[1].name, pair[2])):
            free = column.name not in found and name not in found.values()
            if likeness >= CLOSE_ENOUGH and free and self.looks.may_be(name, column.kind):
                found[column.name] = name
        return found

    @cached_property
    def clocks(self) -> dict[str, tuple[str, str]]:
        """Which two columns may hold the day and the time of day of a visit, and of its zeroing, if none holds both."""
        day = self.guessed.get("visited_at", "")
        if self.table is not VISITS or not self.looks.is_day(day):
            return {}
        free = [
            name
            for name in self.looks.values
            if name not in self.theirs.values() and self.looks.is_clock(name)
        ]
        found: dict[str, tuple[str, str]] = {}
        zeroed = VISITS.column("zeroed_at")
        for name in sorted(free, key=lambda name: -_alike(zeroed, name)):
            if _alike(zeroed, name) >= CLOSE_ENOUGH and zeroed.name not in (*found, *self.theirs):
                found[zeroed.name] = (day, name)
            else:
                found.setdefault("visited_at", (day, name))
        return found if "visited_at" in found else {}

    @cached_property
    def theirs(self) -> dict[str, str]:
        """What the file calls each column: known, or guessed."""
        names = self.layout.header.names
        return self.guessed | {column: names[place] for column, place in self.layout.places.items()}

    def columns_of(self, kind: str) -> list[str]:
        """What the file calls its columns of a kind."""
        return [name for column, name in self.theirs.items() if self.table.column(column).kind == kind]


def foreign(layout: Layout) -> Foreign:
    """Look at a file while its text is there."""
    return Foreign(layout, Looks() if layout.parquet else look_at(layout.text, layout.header))


@dataclass(frozen=True)
class Stranger:
    """A file that belongs to no table, looked at once. No header: it cannot be read as one of a drop.

    `encoding`: guessed, of a file that is no UTF-8, where none is given.
    """

    path: Path
    header: Header | None = None
    looks: Looks = field(default_factory=Looks)
    encoding: str | None = None

    @property
    def names(self) -> list[str]:
        """Its columns."""
        return [name for name in self.header.names if name] if self.header else []

    def as_one_of_a_table(self, given: Mapping) -> Foreign | None:
        """As a file of the table to which it seems to belong, by its name and columns: the one of whose required
        columns it seems to have most, and by which most of its own are known. None where nothing can be told."""
        if self.header is None:
            return None
        best: tuple[float, Foreign] | None = None
        for table in BY_NAME.values():
            try:
                one = Foreign(lay_out(table, self.header, given, self.path), self.looks)
            except UsageError:
                return None
            has = sum(name in one.theirs for name in table.required) / len(table.required)
            known = len(one.theirs) / len(self.header.names)
            called = any(word in self.path.name.casefold() for word in TABLE_CALLED[table.name])
            score = has * known + (CALLED_SO if called else 0)
            if has >= HALF and (known >= THIRD or called) and (best is None or score > best[0]):
                best = (score, one)
        return best[1] if best else None


def stranger(path: Path, given: Mapping) -> Stranger:
    """Look at a file that nobody has copied yet."""
    encoding = given.encoding or UTF_8
    try:
        with path.open("rb") as file:
            beginning = file.read(LOOK)
        try:
            beginning[: beginning.rfind(b"\n") + 1].decode(encoding)
        except UnicodeDecodeError:
            encoding = OLD_ENCODING
        header = read_header(path, path.name, given.separator, encoding)
        looks = look_at(path, header, encoding)
    except (UsageError, OSError):
        return Stranger(path)
    return Stranger(path, header, looks, None if encoding in (given.encoding, UTF_8) else encoding)


def date_options(one: Foreign) -> list[tuple[str, str]]:
    """How the file writes days and times, where one format alone explains its first rows: option and format."""
    found = []
    for kind in ("date", "instant"):
        formats = one.looks.date_formats(one.columns_of(kind))
        if kind == "instant" and one.clocks:
            day, _ = one.clocks["visited_at"]
            formats = one.looks.joined_formats(day, [clock for _, clock in one.clocks.values()])
        if len(formats) == 1:
            found.append((option_of(formats[0]), formats[0]))
    return found


def times_lack_offset(one: Foreign) -> bool:
    """Do times of the first rows bear no UTC offset?"""
    return any(one.looks.lacks_offset(name) for name in one.columns_of("instant"))


def writes_magnitude(visits: Foreign) -> bool:
    """Is no return static of the first visits negative, and some not zero?"""
    found = visits.looks.numbers(visits.theirs.get("return_static", ""))
    return len(found) > 2 and min(found) >= 0 and max(found) > 0


def side_by_side(visits: Foreign) -> bool:
    """Do columns of both modes stand in a row, and none that says the mode?"""
    names = [name.casefold() for name in visits.layout.header.names]
    both = all(any(mode in name for name in names) for mode in ("heat", "cool"))
    return both and "mode" not in visits.theirs


def row_unit(visits: Foreign) -> str | None:
    """The unit that the columns of the readings bear in their names, if one that a row may have, and not in. w.c."""
    sides = [name for name in ("return_static", "supply_static") if name in visits.theirs]
    units = {unit_of(VISITS.column(name), visits.theirs[name]) for name in sides}
    return next((unit for unit in ROW_UNITS[1:] if units == {unit}), None)


def beyond_inwc(visits: Foreign) -> bool:
    """Are the supply statics of the first visits no in. w.c.?"""
    found = visits.looks.numbers(visits.theirs.get("supply_static", ""))
    return bool(found) and statistics.median(map(abs, found)) > BEYOND_INWC


def unit_of(column: Column, theirs: str) -> str | None:
    """The unit that a column's name bears, if a mapping knows it and it is not the contract's own."""
    known = list(UNITS.get(INWC if column.unit == BY_ROW else column.unit, ()))[1:]
    words = set(re.findall(r"[^\W_]+", theirs.casefold()))
    units = [unit for unit in known if words & set(UNIT_SAID[unit])]
    return units[0] if len(units) == 1 else None


def meaning(word: str, ours: Sequence[str]) -> str | None:
    """The only one of our words that theirs may stand for."""
    plain = _plain(word)
    fits = [
        our
        for our in ours
        if plain in (_plain(our), *SAID.get(our, ()))
        or (len(plain) > 3 and (_plain(our).startswith(plain) or plain.startswith(_plain(our))))
    ]
    return fits[0] if len(fits) == 1 else None


def _alike(column: Column, name: str) -> float:
    theirs = _plain(name)
    called = max(
        (SequenceMatcher(None, word, theirs).ratio() for word in CALLED.get(column.name, ())), default=0.0
    )
    return max(
        SequenceMatcher(None, column.name.replace("_", " "), theirs).ratio(),
        SequenceMatcher(None, column.meaning, theirs).ratio() if len(theirs) >= LONG else 0.0,
        called if called >= CALLED_ENOUGH else 0.0,
    )


def _plain(name: str) -> str:
    """A name in small letters, its words apart, without its unit."""
    apart = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", name)
    words = re.findall(r"[^\W_]+", re.sub(r"\([^)]*\)|\[[^]]*\]", " ", apart).casefold())
    units = {word for said in UNIT_SAID.values() for word in said}
    return " ".join(word for word in words if word not in units) or " ".join(words)

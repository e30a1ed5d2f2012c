"""The mapping file: how another export's files, columns, words, units and habits become those of the data contract.

A mapping changes how values are read, never what they mean afterwards. What does not belong here: the SQL that applies
it (`values.py`), and the mapping to start from (`mapping_start.py`).
"""

from __future__ import annotations

import codecs
import hashlib
import json
import re
import tomllib
import zoneinfo
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from pipeline.errors import UsageError
from pipeline.load.escape import shown
from pipeline.load.files import table_of
from pipeline.load.inputs import BY_NAME, Table

PRESSURE = {
    "inwc": "1e0",
    "pa": "(1 / getvariable('pa_per_inwc'))",
    "kpa": "(1000 / getvariable('pa_per_inwc'))",
    "mmwc": "(1 / getvariable('mm_per_inch'))",
}
AIRFLOW = {"cfm": "1e0", "l_per_s": "(60 / 28.316846592e0)", "m3_per_h": "(1 / (60 * 0.028316846592e0))"}
LENGTH = {"ft": "1e0", "m": "(1 / 0.3048e0)"}
POWER = {"w": "1e0", "kw": "1e3"}
UNITS: dict[str, dict[str, str]] = {"in. w.c.": PRESSURE, "cfm": AIRFLOW, "ft": LENGTH, "W": POWER}
ROW_UNITS = ("inwc", "pa", "mmwc")
RETURN_SIGNS = ("signed", "magnitude")
SEPARATOR_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t"}
# What a format of dates and times is made of (DuckDB's strptime); names of zones are no zones of their own.
MARK = re.compile(r"%-?.?")
MARKS = tuple("aAbBcdfgHIjmMnpSuUwWxXyYz%")


@dataclass(frozen=True)
class TableMapping:
    """What a mapping says of one table. Keys are the contract's columns.

    `clocks`: where the time of day stands, if the column that `columns` names holds the day alone.
    """

    columns: dict[str, str] = field(default_factory=dict)
    clocks: dict[str, str] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Mapping:
    """The whole mapping. The empty one reads files as the contract says."""

    files: dict[str, tuple[str, ...]] = field(default_factory=dict)
    tables: dict[str, TableMapping] = field(default_factory=dict)
    separator: str | None = None
    encoding: str | None = None
    decimal_comma: bool | None = None
    time_zone: str | None = None
    date_format: tuple[str, ...] = ()
    time_format: tuple[str, ...] = ()
    pressure_unit: str | None = None
    return_sign: str = "signed"
    id_prefix: str = ""
    text: str = ""

    def of(self, table: Table) -> TableMapping:
        return self.tables.get(table.name, TableMapping())

    def table_of(self, name: str) -> str | None:
        """The table of a file: what the mapping's patterns say, else what its name begins with."""
        for table, patterns in self.files.items():
            if any(fnmatchcase(name.lower(), p.lower()) for p in patterns):
                return table
        return table_of(name)

    def fingerprint(self, table: Table) -> str:
        """Changes if and only if the mapping reads this table's files in another way; empty for the empty mapping."""
        said = self._of_reading(table)
        if said == Mapping()._of_reading(table):
            return ""
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()

    def _of_reading(self, table: Table) -> dict[str, Any]:
        """What is said of how the table's files are read."""
        part = asdict(self.of(table))
        said = asdict(self) | {"files": None, "text": None, "tables": part}
        # As it was before there were such: what was read then is not read again.
        if not self.id_prefix:
            del said["id_prefix"]
        if not part["clocks"]:
            del part["clocks"]
        return said


def read_mapping(path: Path | None) -> Mapping:
    """The mapping in the TOML file at `path`; the empty mapping if there is none."""
    if path is None:
        return Mapping()
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as a mapping: {error}") from error
    return parse_mapping(text, path.name)


def parse_mapping(text: str, source: str) -> Mapping:
    """The mapping in a TOML text; `source` is what messages call it."""
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{source}: is no TOML: {error}") from error
    check = _Checker(source)
    tables = {
        name: TableMapping(
            *check.columns(said, name),
            {c: check.words(v, f"values.{name}.{c}") for c, v in check.table(said, "values", name).items()},
            check.texts(said, "units", name),
            check.texts(said, "constants", name),
        )
        for name in BY_NAME
    }
    for section in ("columns", "values", "units", "constants"):
        check.known(said.get(section, {}), tuple(BY_NAME), section)
    for name, mapped in tables.items():
        check.units(name, mapped.units)
    check.known(said, (*_TOP, "files", "columns", "values", "units", "constants"), "the mapping")
    options: dict[str, Any] = {k: make(check, k, said[k]) for k, make in _TOP.items() if k in said}
    return Mapping(files=check.files(said.get("files", {})), tables=tables, text=text, **options)


class _Checker:
    """Turns TOML values into what a mapping needs; anything else is refused with its key and what was expected."""

    def __init__(self, source: str) -> None:
        self.source = source

    def refuse(self, key: str, stands: object, expected: str) -> UsageError:
        return UsageError(f"{self.source}: {key} holds {shown(str(stands))}, expected {expected}")

    def known(self, given: object, names: tuple[str, ...], where: str) -> None:
        if not isinstance(given, dict):
            raise self.refuse(where, given, "a table")
        for key in given:
            if key not in names:
                raise self.refuse(where, key, "one of " + ", ".join(names))

    def table(self, said: dict[str, Any], section: str, name: str) -> dict[str, Any]:
        """The part of a section that belongs to one input table; its keys must be that table's columns."""
        whole = said.get(section, {})
        part = whole.get(name, {}) if isinstance(whole, dict) else whole
        self.known(part, tuple(c.name for c in BY_NAME[name].columns), f"{section}.{name}")
        return dict(part)

    def texts(self, said: dict[str, Any], section: str, name: str) -> dict[str, str]:
        part = self.table(said, section, name)
        return {k: self.text(f"{section}.{name}.{k}", v) for k, v in part.items()}

    def columns(self, said: dict[str, Any], name: str) -> tuple[dict[str, str], dict[str, str]]:
        """What the export calls the columns of a table, and the times of day that stand beside their days."""
        called, clocks = {}, {}
        for column, theirs in self.table(said, "columns", name).items():
            key = f"columns.{name}.{column}"
            if isinstance(theirs, list):
                if BY_NAME[name].column(column).kind != "instant":
                    raise self.refuse(
                        key, theirs, "a text; only a time may stand in two columns, a day and a time of day"
                    )
                if len(theirs) != 2:
                    raise self.refuse(
                        key, theirs, 'two columns, a day and a time of day, such as ["Date", "Time"]'
                    )
                called[column], clocks[column] = (self.text(key, one) for one in theirs)
            else:
                called[column] = self.text(key, theirs)
        return called, clocks

    def words(self, part: object, where: str) -> dict[str, str]:
        if not isinstance(part, dict):
            raise self.refuse(where, part, "a table of words")
        return {k.strip().lower(): self.text(f"{where}.{k}", v) for k, v in part.items()}

    def text(self, key: str, value: object) -> str:
        if isinstance(value, bool):
            return "true" if value else "false"
        if not isinstance(value, str | int | float):
            raise self.refuse(key, value, "a text")
        return str(value)

    def units(self, table: str, units: dict[str, str]) -> None:
        for column, unit in units.items():
            known = UNITS.get(BY_NAME[table].column(column).unit)
            if known is None:
                raise self.refuse(
                    f"units.{table}", column, "a column with a unit of pressure, airflow, power or height"
                )
            self.one_of(f"units.{table}.{column}", unit, tuple(known))

    def files(self, said: object) -> dict[str, tuple[str, ...]]:
        self.known(said, tuple(BY_NAME), "files")
        assert isinstance(said, dict)
        return {table: self.list(f"files.{table}", patterns) for table, patterns in said.items()}

    def list(self, key: str, value: object) -> tuple[str, ...]:
        values = [value] if isinstance(value, str) else value
        if not isinstance(values, list) or not all(isinstance(v, str) for v in values):
            raise self.refuse(key, value, "a text or a list of texts")
        return tuple(values)

    def one_of(self, key: str, value: object, words: tuple[str, ...]) -> str:
        if value not in words:
            raise self.refuse(key, value, "one of " + ", ".join(words))
        return str(value)

    def flag(self, key: str, value: object) -> bool:
        if not isinstance(value, bool):
            raise self.refuse(key, value, "true or false")
        return value

    def zone(self, key: str, value: object) -> str:
        if value not in zoneinfo.available_timezones():
            raise self.refuse(key, value, "a time zone such as America/Chicago")
        return str(value)

    def encoding(self, key: str, value: object) -> str:
        name = str(value)
        try:
            "x".encode(name)  # refused by what is no encoding of text
            return codecs.lookup(name).name
        except (LookupError, UnicodeError):
            raise self.refuse(key, value, "an encoding of text such as windows-1252") from None

    def formats(self, key: str, value: object) -> tuple[str, ...]:
        formats = self.list(key, value)
        for one in formats:
            marks = MARK.findall(one)
            if not marks or any(mark.removeprefix("%").removeprefix("-") not in MARKS for mark in marks):
                raise self.refuse(key, one, "a format such as %m/%d/%Y or %d.%m.%Y %H:%M")
            if "%z" in one.removesuffix("%z"):
                raise self.refuse(key, one, "a UTC offset (%z) at the end only")
        return formats

    def prefix(self, key: str, value: object) -> str:
        if not isinstance(value, str) or value != value.strip() or not value.isprintable():
            raise self.refuse(key, value, "a text without blanks around it, such as N-")
        return value

    def separator(self, key: str, value: object) -> str:
        known = SEPARATOR_WORDS.get(str(value), value)
        if known not in SEPARATOR_WORDS.values():
            raise self.refuse(key, value, "one of " + ", ".join(SEPARATOR_WORDS))
        return str(known)


_TOP: dict[str, Callable[[_Checker, str, object], Any]] = {
    "separator": _Checker.separator,
    "encoding": _Checker.encoding,
    "decimal_comma": _Checker.flag,
    "time_zone": _Checker.zone,
    "date_format": _Checker.formats,
    "time_format": _Checker.formats,
    "pressure_unit": lambda check, key, value: check.one_of(key, value, ROW_UNITS),
    "return_sign": lambda check, key, value: check.one_of(key, value, RETURN_SIGNS),
    "id_prefix": _Checker.prefix,
}

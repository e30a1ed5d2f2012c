"""The SQL that reads one value of a row: its text, its typed value, and what is wrong with it.

Every column of the file is text and named by its place: c0, c1, ... What does not belong here: the whole query
(`reader.py`), and which place holds what (`layout.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.load.clocks import empty, joined
from pipeline.load.inputs import Column
from pipeline.load.layout import Layout
from pipeline.load.mapping import UNITS
from pipeline.load.zones import (
    by_the_visit,
    clock_changes,
    formats_sql,
    has_offset,
    in_zone,
    in_zone_of_visit,
    out_of_reach,
    says_other_zone,
    surely_zoned,
    suspect_offset,
    time_formats,
)
from pipeline.warehouse import literal

BOM = "\ufeff"
ABSENT = "NULL::VARCHAR"  # the text of a column that the file does not have
# What programs write for a day that they do not know, their day 0 or 1, by whichever clock: common practice, no source.
# A visit or work is not of such a day; a unit may well be installed on one, by its plate.
FILLERS = ("1899-12-29", "1899-12-30", "1899-12-31", "1900-01-01", "1900-01-02", "1969-12-31", "1970-01-01")
DAYS_OF_RECORDS = ("visited_at", "done_on")
COMPARED = 4  # words; comparing with so few costs less than half of a cast, which hashes each value
RETURN_SIDE = ("return_static", "design_return_inwc")
WHOLE = ("cfm", "ft", "W", "currency")  # units of numbers that are often written with thousands separators


@dataclass(frozen=True)
class ValueSql:
    """SQL of one column. `made_text` is the text after the mapping's words (None: the file's own text, `text`).

    `value` is the typed value. `wrong` is true where a text stands that gives no value; `skipped` and `twice` where a
    local time never was, or was twice. `suspect` holds wherever one of them does, and is cheap: it is asked of every
    row.
    """

    column: Column
    text: str
    made_text: str | None
    value: str
    wrong: str
    suspect: tuple[str, ...] = ()
    skipped: str | None = None
    twice: str | None = None

    @property
    def bad(self) -> str | None:
        """True where the value is missing or wrong; None if it never is."""
        if self.column.required:
            return f"({self.column.name} IS NULL OR {self.wrong})"
        return None if self.wrong == "false" else f"({self.wrong})"


def value_sql(layout: Layout, column: Column) -> ValueSql:
    """The SQL for `column` in files of this layout."""
    text, made = _text(layout, column)
    make = {"number": _number, "word": _word, "flag": _flag, "date": _date, "instant": _instant}
    value, wrong = make.get(column.kind, _plain)(layout, column, text)
    local = column.kind == "instant" and layout.mapping.time_zone is not None and text != ABSENT
    changes = clock_changes(layout, text) if local else ()
    suspect = (*_suspect(layout, column, text, wrong), *changes)
    return ValueSql(column, text, made, value, wrong, suspect, *changes)


def _suspect(layout: Layout, column: Column, text: str, wrong: str) -> tuple[str, ...]:
    """Cheap conditions, true wherever a value is missing or wrong; `reader.py` adds that of all numbers at once."""
    name = column.name
    if column.required:
        conditions = [f"{name} IS NULL"]
    elif wrong == "false" or text == ABSENT:
        return ()
    else:
        conditions = [f"({name} IS NULL AND {text} IS NOT NULL)"]
    if column.kind == "id" and wrong != "false":
        conditions.append(wrong)
    if column.kind in ("date", "instant"):
        kind = column.sql_type
        conditions.append(f"NOT ({name} BETWEEN '1970-01-02'::{kind} AND '9999-12-30'::{kind})")
    if column.kind == "instant":
        conditions += [f"ends_with({text}, 'T')", f"ends_with({text}, 't')", f"ends_with({text}, ' ')"]
        conditions.append(suspect_offset(layout, text))
    if column.kind == "number":
        conditions.append(column.outside)
        grouped = grouped_thousands(layout, column)
        conditions += [f"coalesce({grouped.format(text)}, false)"] if grouped else []
    return tuple(conditions)


def trimmed(text: str) -> str:
    """The text without blanks around it, no-break ones too, NULL if nothing is left; `trim`, which takes both off, is
    reached only where one stands."""
    blank = f"{text} LIKE ' %' OR {text} LIKE '% ' OR contains({text}, '\u00a0')"
    return f"CASE WHEN {blank} THEN nullif(trim({text}), '') ELSE {text} END"


def _text(layout: Layout, column: Column) -> tuple[str, str | None]:
    mapped = layout.mapping.of(layout.table)
    place = layout.places.get(column.name)
    text = ABSENT if place is None else f"c{place}"
    made = joined(layout, column) if column.name in layout.clocks else text
    if column.name in mapped.values:
        cases = " ".join(
            f"WHEN {literal(k)} THEN {literal(v)}" for k, v in mapped.values[column.name].items()
        )
        made = f"CASE lower(trim({made})) {cases} ELSE {made} END"
    if column.name in mapped.constants:
        made = f"CASE WHEN {empty(made)} THEN {literal(mapped.constants[column.name])} ELSE {made} END"
    if made == text:
        return text, None
    return f"text_of_{column.name}", made


def _stands(column: Column, text: str) -> str:
    """A text stands there, but it gave no value. `trim` is reached for such rows only."""
    return f"({column.name} IS NULL AND {text} IS NOT NULL AND trim({text}) <> '')"


def _plain(layout: Layout, column: Column, text: str) -> tuple[str, str]:
    unbroken = f"replace({text}, chr(13) || chr(10), chr(10))" if layout.returns else text
    value = trimmed(unbroken)
    if layout.mapping.id_prefix and column.name.endswith("_id"):
        value = f"{literal(layout.mapping.id_prefix)} || {value}"
    return value, header_again(layout, column)


def header_again(layout: Layout, column: Column) -> str:
    """True of a row that repeats the header: its id is the name of the column. Where files were put together, the byte
    order mark of the later one stands before it."""
    place = layout.places.get(column.name)
    if place is None or column.name != layout.table.key[0]:
        return "false"
    name = layout.header.names[place].strip()
    return f"coalesce(trim(c{place}) IN ({literal(name)}, {literal(BOM + name)}), false)"


def _number(layout: Layout, column: Column, text: str) -> tuple[str, str]:
    plain = f"replace({text}, ',', '.')" if layout.decimal_comma else text
    value = f"TRY_CAST({plain} AS DOUBLE)"
    unit = layout.mapping.of(layout.table).units.get(column.name)
    if unit is not None:
        value = f"{value} * {UNITS[column.unit][unit]}"
    if layout.mapping.return_sign == "magnitude" and column.name in RETURN_SIDE:
        value = f"0 - abs({value})"
    # DuckDB also reads nan, inf, 1e999, 1_000 and +-1 as numbers
    wrong = f"{_stands(column, text)} OR {column.outside} OR contains({text}, '_') OR contains({text}, '+-')"
    grouped = grouped_thousands(layout, column)
    return value, f"{wrong} OR {grouped.format(text)}" if grouped else wrong


def grouped_thousands(layout: Layout, column: Column) -> str | None:
    """SQL with a place for the text: may a number that is mostly whole be written with thousands separators? In a file
    that may have decimal commas it would be read as a thousandth. Where nobody said that it has, a comma may be one,
    too; 950,125 cfm are too many to be meant.
    """
    unit = layout.mapping.of(layout.table).units.get(column.name)
    if not layout.decimal_comma or column.unit not in WHOLE or unit == "kw":
        return None
    mark = "[.]" if layout.mapping.decimal_comma else "[.,]"
    digits = literal(f"[+-]?[0-9]{{{{1,3}}}}({mark}[0-9]{{{{3}}}})+")
    whole = "TRY_CAST(translate(trim({0}), '.,', '') AS DOUBLE)"
    return f"(regexp_full_match(trim({{0}}), {digits}) AND {whole} BETWEEN {column.lowest!r} AND {column.highest!r})"


def _word(layout: Layout, column: Column, text: str) -> tuple[str, str]:
    kind = column.staged_type
    value = f"TRY_CAST(lower(trim({text})) AS {kind})"
    if len(column.words) <= COMPARED:
        as_written = " ".join(f"WHEN {literal(w)} THEN {literal(w)}::{kind}" for w in column.words)
        value = f"CASE {text} {as_written} ELSE {value} END"
    else:
        value = f"coalesce(TRY_CAST({text} AS {kind}), {value})"
    wrong = _stands(column, text)
    if column.name == "pressure_unit" and layout.mapping.pressure_unit is not None:
        value = f"coalesce({value}, CASE WHEN {empty(text)} THEN {literal(layout.mapping.pressure_unit)}::{kind} END)"
    return value, wrong


def _flag(_: Layout, column: Column, text: str) -> tuple[str, str]:
    slow = f"CASE lower(trim({text})) WHEN 'true' THEN true WHEN 'false' THEN false END"
    value = f"CASE WHEN {text} = 'true' THEN true WHEN {text} = 'false' THEN false ELSE {slow} END"
    return value, _stands(column, text)


def _day_out_of_reach(column: Column, text: str) -> str:
    """DuckDB also reads epoch, infinity, two-digit years and years BC, whose number is the same."""
    name, kind = column.name, column.sql_type
    odd = f"{name} = 'epoch'::{kind} AND lower(trim({text})) = 'epoch'"
    if name in DAYS_OF_RECORDS:
        day = f"{name} AT TIME ZONE 'UTC'" if column.kind == "instant" else name
        odd += f" OR ({day})::DATE IN ({', '.join(literal(filler) for filler in FILLERS)})"
    return f"NOT isfinite({name}) OR {name} < '1000-01-01'::{kind} OR year({name}) > 9999 OR ({odd})"


def _date(layout: Layout, column: Column, text: str) -> tuple[str, str]:
    value = f"TRY_CAST({text} AS DATE)"
    if layout.mapping.date_format:
        value = (
            f"coalesce(try_strptime(trim({text}), {formats_sql(layout.mapping.date_format)})::DATE, {value})"
        )
    return value, f"{_stands(column, text)} OR {_day_out_of_reach(column, text)}"


def _instant(layout: Layout, column: Column, text: str) -> tuple[str, str]:
    value = _absolute(layout, text)
    visit = text_of_visit(layout, column)
    if visit is not None:
        theirs = in_zone_of_visit(layout, text, visit, _absolute(layout, visit))
        told = f"CASE WHEN {by_the_visit(layout, text, visit)} THEN {theirs} ELSE {value} END"
        quick = not any(time_formats(layout))
        value = f"CASE WHEN {surely_zoned(text)} THEN {value} ELSE {told} END" if quick else told
    wrong = (
        f"{_stands(column, text)} OR {_day_out_of_reach(column, text)} OR {says_other_zone(layout, text)} "
        f"OR {out_of_reach(layout, text)}"
    )
    return value, wrong


def text_of_visit(layout: Layout, column: Column) -> str | None:
    """The text of the visit's time, by whose clock a time of this column is read if it says no zone; None: there is
    none, or the mapping says the zone."""
    if column.name != "zeroed_at" or layout.mapping.time_zone is not None:
        return None
    visited_at = next(c for c in layout.table.columns if c.name == "visited_at")
    text, _ = _text(layout, visited_at)
    return None if text == ABSENT else text


def _absolute(layout: Layout, text: str) -> str:
    absolute = f"TRY_CAST({text} AS TIMESTAMPTZ), TRY_CAST(trim({text}) AS TIMESTAMPTZ)"
    plain, zoned = time_formats(layout)
    if zoned:
        absolute = f"try_strptime(trim({text}), {formats_sql(zoned)}), {absolute}"
    absolute = f"coalesce({absolute})"
    if layout.mapping.time_zone is None and not (plain or zoned):
        return absolute
    return f"CASE WHEN {has_offset(layout, text)} THEN {absolute} ELSE {in_zone(layout, text)} END"

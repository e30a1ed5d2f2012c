"""The SQL that reads one value of a row: its text, its typed value, and what is wrong with it.

Every column of the file is text and named by its place: c0, c1, ... What does not belong here: the whole query
(`reader.py`), and which place holds what (`layout.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.load.escape import literal
from pipeline.load.inputs import Column
from pipeline.load.layout import Layout
from pipeline.load.mapping import UNITS

RETURN_SIDE = ("return_static", "design_return_inwc")


@dataclass(frozen=True)
class ValueSql:
    """SQL of one column. `made_text` is the text after the mapping's words (None: the file's own text, `text`).

    `value` is the typed value, `wrong` is true where a text stands that gives no value, `expected` says in words (an
    SQL text) what should stand there. `suspect` is true wherever `wrong` is, and cheap: it is asked of every row.
    """

    column: Column
    text: str
    made_text: str | None
    value: str
    wrong: str
    expected: str
    suspect: tuple[str, ...] = ()

    @property
    def bad(self) -> str:
        if self.column.required:
            return f"({self.column.name} IS NULL OR {self.wrong})"
        return f"({self.wrong})"


def value_sql(layout: Layout, column: Column) -> ValueSql:
    """The SQL for `column` in files of this layout."""
    text, made = _text(layout, column)
    make = {"number": _number, "word": _word, "flag": _flag, "date": _date, "instant": _instant}.get(
        column.kind, _plain
    )
    value, wrong, expected = make(layout, column, text)
    return ValueSql(column, text, made, value, wrong, expected, _suspect(layout, column, text, wrong))


def _suspect(layout: Layout, column: Column, text: str, wrong: str) -> tuple[str, ...]:
    """Cheap conditions, true wherever a value is missing or wrong; `reader.py` adds those of all numbers at once."""
    name = column.name
    if column.required:
        conditions = [f"{name} IS NULL"]
    elif wrong == "false" or (text.startswith("NULL") and not layout.mapping.of(layout.table).constants):
        return ()
    else:
        conditions = [f"({name} IS NULL AND {text} IS NOT NULL)"]
    if column.kind in ("date", "instant"):
        kind = column.sql_type
        conditions.append(f"NOT ({name} BETWEEN '1970-01-02'::{kind} AND '9999-12-30'::{kind})")
    if column.positive:
        conditions.append(f"{name} <= 0")
    if column.kind == "instant" and layout.mapping.time_zone is not None:
        conditions.append(f"({wrong})")
    return tuple(conditions)


def trimmed(text: str) -> str:
    """The text without blanks around it, NULL if nothing is left; `trim` is reached only where a blank stands."""
    return f"CASE WHEN {text} LIKE ' %' OR {text} LIKE '% ' THEN nullif(trim({text}), '') ELSE {text} END"


def empty(text: str) -> str:
    return f"coalesce(trim({text}), '') = ''"


def _text(layout: Layout, column: Column) -> tuple[str, str | None]:
    mapped = layout.mapping.of(layout.table)
    place = layout.places.get(column.name)
    text = "NULL::VARCHAR" if place is None else f"c{place}"
    made = text
    if column.name in mapped.values:
        cases = " ".join(
            f"WHEN {literal(k)} THEN {literal(v)}" for k, v in mapped.values[column.name].items()
        )
        made = f"CASE lower(trim({text})) {cases} ELSE {text} END"
    if column.name in mapped.constants:
        made = f"CASE WHEN {empty(made)} THEN {literal(mapped.constants[column.name])} ELSE {made} END"
    if made == text and place is not None:
        return text, None
    return f"text_of_{column.name}", made


def _stands(column: Column, text: str) -> str:
    """A text stands there, but it gave no value. `trim` is reached for such rows only."""
    return f"({column.name} IS NULL AND {text} IS NOT NULL AND trim({text}) <> '')"


def _plain(layout: Layout, column: Column, text: str) -> tuple[str, str, str]:
    unbroken = f"replace({text}, chr(13) || chr(10), chr(10))" if layout.returns else text
    return trimmed(unbroken), "false", literal(column.expected)


def _number(layout: Layout, column: Column, text: str) -> tuple[str, str, str]:
    plain = f"replace({text}, ',', '.')" if layout.decimal_comma else text
    value = f"TRY_CAST({plain} AS DOUBLE)"
    unit = layout.mapping.of(layout.table).units.get(column.name)
    if unit is not None:
        value = f"{value} * {UNITS[column.unit][unit]}"
    if layout.mapping.return_sign == "magnitude" and column.name in RETURN_SIDE:
        value = f"0 - abs({value})"
    # DuckDB also reads nan, inf, 1e999 and 1_000 as numbers
    wrong = f"{_stands(column, text)} OR NOT isfinite({column.name}) OR contains({text}, '_')"
    if column.positive:
        wrong += f" OR {column.name} <= 0"
    return value, wrong, literal(column.expected)


def _word(layout: Layout, column: Column, text: str) -> tuple[str, str, str]:
    kind = column.staged_type
    value = f"coalesce(TRY_CAST({text} AS {kind}), TRY_CAST(lower(trim({text})) AS {kind}))"
    wrong = _stands(column, text)
    if column.name == "pressure_unit" and layout.mapping.pressure_unit is not None:
        value = f"coalesce({value}, CASE WHEN {empty(text)} THEN {literal(layout.mapping.pressure_unit)}::{kind} END)"
    return value, wrong, literal(column.expected)


def _flag(_: Layout, column: Column, text: str) -> tuple[str, str, str]:
    slow = f"CASE lower(trim({text})) WHEN 'true' THEN true WHEN 'false' THEN false END"
    value = f"CASE WHEN {text} = 'true' THEN true WHEN {text} = 'false' THEN false ELSE {slow} END"
    return value, _stands(column, text), literal(column.expected)


def _day_out_of_reach(column: Column, text: str) -> str:
    """DuckDB also reads epoch, infinity, two-digit years and years BC."""
    name = column.name
    odd = f"{name} = 'epoch'::{column.sql_type} AND lower(trim({text})) = 'epoch'"
    return f"NOT isfinite({name}) OR year({name}) NOT BETWEEN 1000 AND 9999 OR ({odd})"


def _formats(formats: tuple[str, ...]) -> str:
    return "[" + ", ".join(literal(f) for f in formats) + "]"


def _date(layout: Layout, column: Column, text: str) -> tuple[str, str, str]:
    value = f"TRY_CAST({text} AS DATE)"
    expected = column.expected
    if layout.mapping.date_format:
        value = f"coalesce(try_strptime(trim({text}), {_formats(layout.mapping.date_format)})::DATE, {value})"
        expected = "a date written " + " or ".join(layout.mapping.date_format)
    return value, f"{_stands(column, text)} OR {_day_out_of_reach(column, text)}", literal(expected)


def local_time(layout: Layout, text: str) -> str:
    """The time of day as written, without zone: TIMESTAMP."""
    formats = layout.mapping.time_format + layout.mapping.date_format
    plain = f"TRY_CAST(trim({text}) AS TIMESTAMP)"
    return f"coalesce(try_strptime(trim({text}), {_formats(formats)}), {plain})" if formats else plain


def has_offset(layout: Layout, text: str) -> str:
    """Does a time say its own zone: a letter at the end, or a UTC offset after the minutes? Formats never do."""
    pattern = literal(r"([A-Za-z]|:[0-9]{2}.*[+-][0-9]{2}(:?[0-9]{2}){0,2})\s*$")
    formats = layout.mapping.time_format + layout.mapping.date_format
    written = f" AND try_strptime(trim({text}), {_formats(formats)}) IS NULL" if formats else ""
    return f"(regexp_matches({text}, {pattern}){written})"


def _instant(layout: Layout, column: Column, text: str) -> tuple[str, str, str]:
    absolute = f"coalesce(TRY_CAST({text} AS TIMESTAMPTZ), TRY_CAST(trim({text}) AS TIMESTAMPTZ))"
    zone = layout.mapping.time_zone
    wrong = f"{_stands(column, text)} OR {_day_out_of_reach(column, text)}"
    expected = column.expected
    formats = layout.mapping.time_format + layout.mapping.date_format
    if formats:
        expected = "a time written " + " or ".join(formats)
    if zone is None and not formats:
        return absolute, wrong, literal(expected)
    local = local_time(layout, text)
    utc = f"timezone({literal(zone or 'UTC')}, {local})"
    value = f"CASE WHEN {has_offset(layout, text)} THEN {absolute} ELSE {utc} END"
    if zone is None:
        return value, wrong, literal(expected)
    skipped, twice = _clock_changes(literal(zone), local, utc)
    unclear = f"(NOT {has_offset(layout, text)} AND ({skipped} OR {twice}))"
    says = (
        f"CASE WHEN {skipped} THEN {literal(f'a time that the clocks in {zone} showed (they were put forward)')} "
        f"WHEN {twice} THEN {literal(f'its UTC offset too: the clocks in {zone} showed this time twice')} "
        f"ELSE {literal(expected)} END"
    )
    return value, f"{wrong} OR {unclear}", says


def _clock_changes(zone: str, local: str, utc: str) -> tuple[str, str]:
    """Was a local time skipped, or shown twice, when clocks were changed by an hour or half an hour?"""
    skipped = f"coalesce(timezone({zone}, {utc}) <> {local}, false)"
    again = (
        f"timezone({zone}, {utc} {sign} INTERVAL {m} MINUTE) = {local}" for sign in "+-" for m in (30, 60)
    )
    return skipped, f"coalesce({' OR '.join(again)}, false)"

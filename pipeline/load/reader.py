"""The SQL that reads one file: every column as text, cast to its declared type in the same scan.

A value that cannot be understood makes its row's `reason` and `detail`; the row stays. What does not belong here:
which file belongs to which table (`files.py`), and judging rows against other tables (`sql/load/`).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.load.header import Header
from pipeline.load.inputs import BAD_REASON, Column, Table

SHOWN = 40


@dataclass(frozen=True)
class Layout:
    """How one file's columns map to a table: `place` of each contract column in the file, and the other columns."""

    table: Table
    header: Header
    places: dict[str, int]
    extras: dict[str, int]


def lay_out(table: Table, header: Header) -> Layout:
    known = {c.name: c.name for c in table.columns}
    places: dict[str, int] = {}
    extras: dict[str, int] = {}
    for place, name in enumerate(header.names):
        if name.casefold() in known:
            places[name.casefold()] = place
        else:
            extras[name or f"column {place + 1}"] = place
    return Layout(table, header, places, extras)


def literal(text: str) -> str:
    """`text` as an SQL string."""
    return "'" + text.replace("'", "''") + "'"


def scan(layout: Layout, text: Path) -> str:
    """The read_csv call: every column VARCHAR and named by its place, ragged rows to reject_errors."""
    columns = ", ".join(f"'c{i}': 'VARCHAR'" for i in range(len(layout.header.names)))
    return (
        f"read_csv({literal(str(text))}, auto_detect = false, header = true, delim = {literal(layout.header.separator)}, "
        f"quote = '\"', escape = '\"', columns = {{{columns}}}, store_rejects = true, rejects_limit = 0)"
    )


def select(layout: Layout, text: Path, load_id: int) -> str:
    """The whole reading query; its columns are those of the staged table, in order."""
    columns = layout.table.columns
    texts = ", ".join(f"{_text(layout, c)} AS t_{c.name}" for c in columns)
    values = ", ".join(f"{_value(layout, c)} AS {c.name}" for c in columns)
    bad = " OR ".join(_bad(c) for c in columns)
    return (
        f"SELECT {load_id}::INTEGER AS load_id, {', '.join(c.name for c in columns)}{_made_names(layout.table)}, extras, "
        f"CASE WHEN {bad} THEN {_reason(columns)} END AS reason, "
        f"CASE WHEN {bad} THEN {_detail(columns)} END AS detail "
        f"FROM (SELECT *, {values}{_made(layout.table)} "
        f"FROM (SELECT {texts}, {_extras(layout)} AS extras FROM {scan(layout, text)}))"
    )


def _text(layout: Layout, column: Column) -> str:
    place = layout.places.get(column.name)
    return "NULL::VARCHAR" if place is None else f"nullif(trim(c{place}), '')"


def _value(layout: Layout, column: Column) -> str:
    text = f"t_{column.name}"
    if column.kind == "number":
        plain = f"replace({text}, ',', '.')" if layout.header.decimal_comma else text
        return f"TRY_CAST({plain} AS DOUBLE)"
    if column.kind == "word":
        words = ", ".join(literal(w) for w in column.words)
        return f"CASE WHEN lower({text}) IN ({words}) THEN lower({text}) END"
    if column.kind == "flag":
        return f"CASE lower({text}) WHEN 'true' THEN true WHEN 'false' THEN false END"
    if column.kind in ("date", "instant"):
        return f"TRY_CAST({text} AS {column.sql_type})"
    return text


def _bad(column: Column) -> str:
    text, value = f"t_{column.name}", column.name
    missing = f"{text} IS NULL" if column.required else "false"
    if column.kind in ("id", "text"):
        return f"({missing})"
    wrong = f"({value} IS NULL AND {text} IS NOT NULL)"
    if column.kind == "number":
        wrong += f" OR NOT isfinite({value}) OR contains({text}, '_')"
        wrong += f" OR {value} <= 0" if column.positive else ""
    elif column.kind in ("date", "instant"):
        wrong += f" OR NOT isfinite({value}) OR year({value}) NOT BETWEEN 1000 AND 9999"
    return f"({missing} OR {wrong})"


def _reason(columns: tuple[Column, ...]) -> str:
    return "CASE " + " ".join(f"WHEN {_bad(c)} THEN '{BAD_REASON[c.kind]}'" for c in columns) + " END"


def _detail(columns: tuple[Column, ...]) -> str:
    parts = []
    for c in columns:
        stands = f"CASE WHEN t_{c.name} IS NULL THEN 'is empty' ELSE 'holds ' || {shown(f't_{c.name}')} END"
        parts.append(
            f"CASE WHEN {_bad(c)} THEN '{c.name} ' || {stands} || {literal(', expected ' + c.expected)} END"
        )
    return f"concat_ws('; ', {', '.join(parts)})"


def shown(text: str) -> str:
    """SQL for a value as messages show it: quoted, control characters escaped, cut."""
    escaped = f"replace(replace(replace(replace({text}, '\\', '\\\\'), chr(10), '\\n'), chr(13), '\\r'), chr(9), '\\t')"
    clean = f"regexp_replace({escaped}, '[[:cntrl:]]', '?', 'g')"
    return f"(CASE WHEN length({text}) > {SHOWN} THEN '''' || {clean}[1:{SHOWN}] || '...''' ELSE '''' || {clean} || '''' END)"


def _extras(layout: Layout) -> str:
    if not layout.extras:
        return "NULL::VARCHAR"
    pairs = ", ".join(
        f"{{'k': {literal(name)}, 'v': nullif(trim(c{place}), '')}}"
        for name, place in sorted(layout.extras.items())
    )
    kept = f"list_filter([{pairs}], lambda x: x.v IS NOT NULL)"
    return f"nullif(to_json(map_from_entries(list_transform({kept}, lambda x: (x.k, x.v))))::VARCHAR, '{{}}')"


def _made_names(table: Table) -> str:
    if table.name != "visits":
        return ""
    return ", visited_on, return_decimals, supply_decimals, reported_decimals"


def _made(table: Table) -> str:
    if table.name != "visits":
        return ""
    return (
        ", TRY_CAST(t_visited_at AS DATE) AS visited_on"
        f", {_decimals('return_static')} AS return_decimals"
        f", {_decimals('supply_static')} AS supply_decimals"
        f", {_decimals('reported_tesp')} AS reported_decimals"
    )


def _decimals(column: str) -> str:
    """Digits after the decimal mark, as written; an exponent is not looked into."""
    text = f"t_{column}"
    after = f"length({text}) - instr(replace({text}, ',', '.') || '.', '.')"
    return f"CASE WHEN {column} IS NOT NULL THEN CAST(least(100, greatest(0, {after})) AS TINYINT) END"

"""The query that reads one file: every column as text, cast to its declared type in the same scan.

A value that cannot be understood puts its column on the row's `wrong` list; the row stays, and `texts` keeps what stood
there. What does not belong here: how one value is read (`values.py`), what is said about wrong ones (`faults.py`), and
judging rows against other tables (`sql/load/orphan_*.sql`).
"""

from __future__ import annotations

from pipeline.load.escape import name
from pipeline.load.faults import SKIPPED, TWICE
from pipeline.load.inputs import MADE_OF_VISITS, Table
from pipeline.load.layout import Layout
from pipeline.load.values import ABSENT, ValueSql, text_of_visit, value_sql
from pipeline.load.zones import by_the_visit, has_offset, local_time
from pipeline.warehouse import literal


def staged_columns(table: Table) -> list[tuple[str, str]]:
    """Name and SQL type of the columns of a staged table, in order."""
    columns = [("load_id", "INTEGER"), *((c.name, c.staged_type) for c in table.columns)]
    if table.name == "visits":
        columns += [(n, kind) for n, kind, *_ in MADE_OF_VISITS]
    return [*columns, ("extras", "VARCHAR"), ("wrong", "UTINYINT[]"), ("texts", "VARCHAR[]")]


def select(layout: Layout, load_id: int) -> str:
    """The whole reading query; its columns are those of the staged table, in order."""
    values = [value_sql(layout, c) for c in layout.table.columns]
    texts = [f"{v.made_text} AS text_of_{v.column.name}" for v in values if v.made_text is not None]
    typed = [f"{v.value} AS {v.column.name}" for v in values]
    made = [f"{sql} AS {column}" for column, sql in _made(layout, values).items()]
    suspect = " OR ".join([*(condition for v in values for condition in v.suspect), *_odd_numbers(values)])
    source = _source(layout)
    for layer in (texts, _oddities(values)):
        source = f"(SELECT {', '.join(['*', *layer])} FROM {source})" if layer else source
    kept = ", ".join(n for n, _ in staged_columns(layout.table)[1:-2])
    shown = ", ".join(v.text for v in values)
    return (
        f"SELECT {load_id}::INTEGER AS load_id, {kept}, wrong, CASE WHEN wrong IS NOT NULL THEN [{shown}] END AS texts "
        f"FROM (SELECT *, CASE WHEN is_suspect THEN {_wrong(values)} END AS wrong "
        f"FROM (SELECT *, {suspect} AS is_suspect "
        f"FROM (SELECT {', '.join(['*', *typed, *made])}, {_extras(layout)} AS extras FROM {source})))"
    )


def zoneless(layout: Layout, most: int | None = None) -> str | None:
    """A query of how many times the file's rows hold (the first rows, `most` of them) that do not say their zone: those
    that are read as UTC, and those read by the clock of their visit. None where no time can, or the mapping says the
    zone.
    """
    values = [value_sql(layout, c) for c in layout.table.columns if c.kind == "instant"]
    values = [v for v in values if v.text != ABSENT]
    if not values or layout.mapping.time_zone is not None:
        return None
    made = [f"{v.made_text} AS {v.text}" for v in values if v.made_text is not None]
    visits = {v.text: text_of_visit(layout, v.column) for v in values}
    of_visit = {v.text: by_the_visit(layout, v.text, visit) for v in values if (visit := visits[v.text])}
    as_utc = (f"NOT {has_offset(layout, v.text)} AND NOT {of_visit.get(v.text, 'false')}" for v in values)
    by_visit = (of_visit.get(v.text, "false") for v in values)
    stands = [f"{v.value} IS NOT NULL" for v in values]
    counts = (
        " + ".join(
            f"count(*) FILTER ({there} AND {which})" for there, which in zip(stands, read, strict=True)
        )
        for read in (as_utc, by_visit)
    )
    limit = "" if most is None else f" LIMIT {most}"
    source = _source(layout, False)
    return f"SELECT {', '.join(counts)} FROM (SELECT {', '.join(['*', *made])} FROM {source}{limit})"


def _source(layout: Layout, rejects: bool = True) -> str:
    """The file's rows; `rejects`: what cannot be read is kept by DuckDB, else it is left out."""
    if layout.parquet:
        columns = (f"CAST({name(n)} AS VARCHAR) AS c{i}" for i, n in enumerate(layout.header.names))
        return f"(SELECT {', '.join(columns)} FROM read_parquet({literal(layout.text)}))"
    columns = (f"'c{i}': 'VARCHAR'" for i in range(len(layout.header.names)))
    return (
        f"read_csv({literal(layout.text)}, auto_detect = false, header = true, "
        f"delim = {literal(layout.header.separator)}, quote = '\"', escape = '\"', comment = '', compression = 'none', "
        f"columns = {{{', '.join(columns)}}}, parallel = {not layout.one_thread}, "
        f"{'store_rejects = true, rejects_limit = 0' if rejects else 'ignore_errors = true'})"
    )


def _numbers(values: list[ValueSql]) -> list[ValueSql]:
    return [v for v in values if v.column.kind == "number" and v.text != ABSENT]


def _oddities(values: list[ValueSql]) -> list[str]:
    """Does any number of the row hold an exponent or a blank, an underscore or two signs? Asked of all at once."""
    texts = ", ".join(v.text for v in _numbers(values))
    if not texts:
        return []
    odd = " OR ".join(f"contains(concat({texts}), '{mark}')" for mark in "eE ")
    return [
        f"({odd}) AS oddly_written",
        f"contains(concat({texts}), '_') OR contains(concat({texts}), '+-') AS misread",
    ]


def _odd_numbers(values: list[ValueSql]) -> list[str]:
    """The suspicion about all numbers of a row at once: one that is written 1_000 or +-1."""
    return ["misread"] if _numbers(values) else []


def _wrong(values: list[ValueSql]) -> str:
    """The list of what is wrong in a row, as numbers that `faults.py` reads; NULL if nothing is."""
    cases = [
        f"CASE WHEN {condition} THEN {place + kind} END"
        for place, v in enumerate(values)
        for kind, condition in ((0, v.bad), (SKIPPED, v.skipped), (TWICE, v.twice))
        if condition is not None
    ]
    return f"nullif(list_filter([{', '.join(cases)}], lambda x: x IS NOT NULL), [])::UTINYINT[]"


def _extras(layout: Layout) -> str:
    """The other columns as a JSON object, names in order, empty values left out; NULL if nothing is left."""
    if not layout.extras:
        return "NULL::VARCHAR"
    pairs = ", ".join(
        f"{{'k': {literal(n)}, 'v': nullif(trim(c{i}), '')}}" for n, i in sorted(layout.extras.items())
    )
    kept = f"list_filter([{pairs}], lambda x: x.v IS NOT NULL)"
    entries = f"map_from_entries(list_transform({kept}, lambda x: {{'k': x.k, 'v': x.v}}))"
    return f"CASE WHEN len({kept}) > 0 THEN to_json({entries})::VARCHAR END"


def _made(layout: Layout, values: list[ValueSql]) -> dict[str, str]:
    """The columns that are made while the text is at hand."""
    if layout.table.name != "visits":
        return {}
    text = {v.column.name: v.text for v in values}
    return {
        "visited_on": _local_day(layout, text["visited_at"]),
        "return_decimals": _decimals(layout, text["return_static"]),
        "supply_decimals": _decimals(layout, text["supply_static"]),
        "reported_decimals": _decimals(layout, text["reported_tesp"]),
    }


def _local_day(layout: Layout, text: str) -> str:
    """The day as written; a time in UTC (Z) is moved to the mapping's zone first."""
    zone = layout.mapping.time_zone
    formats = layout.mapping.time_format + layout.mapping.date_format
    if zone is None and not formats:
        # Were it trimmed as the time itself is, DuckDB would trim every text once for both, not the odd ones twice.
        return f"coalesce(TRY_CAST({text} AS DATE), TRY_CAST(ltrim(rtrim({text})) AS DATE))"
    written = f"{local_time(layout, text)}::DATE"
    if zone is None:
        return written
    moved = f"TRY(timezone({literal(zone)}, TRY_CAST(trim({text}) AS TIMESTAMPTZ)))::DATE"
    return f"CASE WHEN {has_offset(layout, text)} AND upper(trim({text})) LIKE '%Z' THEN {moved} ELSE {written} END"


def _decimals(layout: Layout, text: str) -> str:
    """Digits after the decimal mark as written, at most 100; an exponent moves the mark: 1.5e-1 has two."""
    plain = f"replace({text}, ',', '.')" if layout.decimal_comma else text
    after = f"CASE WHEN contains({plain}, '.') THEN strlen({plain}) - instr({plain}, '.') ELSE 0 END"
    low = f"lower(trim({plain}))"
    mantissa = f"split_part({low}, 'e', 1)"
    exponent = f"coalesce(TRY_CAST(split_part({low}, 'e', 2) AS INTEGER), 0)"
    shifted = f"greatest(greatest(strlen({mantissa}) - instr({mantissa} || '.', '.'), 0) - {exponent}, 0)"
    digits = f"least(CASE WHEN oddly_written THEN {shifted} ELSE {after} END, 100)::TINYINT"
    return f"CASE WHEN {text} IS NOT NULL AND NOT (oddly_written AND trim({text}) = '') THEN {digits} END"

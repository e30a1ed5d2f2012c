"""What is said about a value that cannot be understood: the reject reason, and the detail in words.

What does not belong here: finding such values (`values.py`), and rows that refer to nothing (`sql/load/orphan_*.sql`).
"""

from __future__ import annotations

import re

from pipeline.load.escape import shown
from pipeline.load.inputs import BAD_REASON
from pipeline.load.layout import Layout
from pipeline.load.mapping import Mapping
from pipeline.load.values import BOM, DAYS_OF_RECORDS, FILLERS, grouped_thousands
from pipeline.load.zones import REACH, is_out_of_reach

# Added to a column's place on a row's `wrong` list: its local time never was, or was twice.
SKIPPED = 80
TWICE = 160
GROUPED = re.compile(r"\s*[+-]?[0-9]{1,3}([.,][0-9]{3})+\s*")
FILLER = re.compile("|".join(sorted({day[:4] for day in FILLERS})))
CLOCK = re.compile(r"\s*[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?( ?[AaPp][Mm])?\s*")
WITH_UNIT = re.compile(
    r'\s*[+-]?[0-9]*[.,]?[0-9]+\s*("|%|(in|inch|inwc|wc|k?pa|mm|mmwc|cfm|k?w|ft|m)\b).*', re.IGNORECASE
)
DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]*,[0-9]+\s*")


def describe(layout: Layout, wrong: list[int], texts: list[str | None]) -> tuple[str, str]:
    """Reason and detail of a row. `wrong`: numbers as above; `texts`: what stands in each column of the contract."""
    if _repeats_header(layout, texts):
        return "row_malformed", "the row repeats the header, expected values"
    reason = BAD_REASON[layout.table.columns[wrong[0] % SKIPPED].kind]
    return reason, "; ".join(_fault(layout, number, texts[number % SKIPPED] or "") for number in wrong)


def _repeats_header(layout: Layout, texts: list[str | None]) -> bool:
    return all(
        (texts[i] or "").removeprefix(BOM).strip() == layout.called(c.name)
        for i, c in enumerate(layout.table.columns)
        if c.name in layout.places
    )


def _fault(layout: Layout, number: int, text: str) -> str:
    column = layout.table.columns[number % SKIPPED]
    stands = f"holds {shown(text)}" if text.strip(" ") else "is empty"
    hint = ""
    if column.kind == "number" and DECIMAL_COMMA.fullmatch(text) and not layout.decimal_comma:
        hint = ", or decimal_comma = true in the mapping"
    elif column.kind == "number" and WITH_UNIT.fullmatch(text):
        hint = ", without its unit"
    elif GROUPED.fullmatch(text) and grouped_thousands(layout, column):
        guessed = layout.mapping.decimal_comma is None
        hint = " without thousands separators" + (
            "; decimal_comma in the mapping says what a comma is" if guessed else ""
        )
    elif column.kind == "instant" and CLOCK.fullmatch(text) and column.name not in layout.clocks:
        hint = f', or in the mapping both columns: {column.name} = ["the day\'s", "the time\'s"]'
    elif column.name in DAYS_OF_RECORDS and FILLER.search(text):
        hint = "; day 0 of a program stands for a day that is not known"
    elif column.kind == "instant" and number < SKIPPED and is_out_of_reach(text):
        hint = f" whose UTC offset lies {REACH}"
    return f"{column.name} {stands}, expected {_expected(layout, number)}{hint}"


def _expected(layout: Layout, number: int) -> str:
    column, mapping = layout.table.columns[number % SKIPPED], layout.mapping
    if number >= TWICE:
        return f"its UTC offset too, for the clocks in {mapping.time_zone} showed this time twice"
    if number >= SKIPPED:
        return f"a time that the clocks in {mapping.time_zone} showed, for they were put forward then"
    unit = mapping.of(layout.table).units.get(column.name)
    if unit is not None and column.bounded:
        return f"{column.expected} once it is converted from {unit}"
    formats = _formats(column.kind, mapping)
    return (
        f"a {'date' if column.kind == 'date' else 'time'} written {formats}" if formats else column.expected
    )


def _formats(kind: str, mapping: Mapping) -> str:
    if kind == "date":
        return " or ".join(mapping.date_format)
    return " or ".join(mapping.time_format + mapping.date_format) if kind == "instant" else ""

"""A time that stands in two columns of a file: its day, and the time of day.

What does not belong here: how the text that they make together is read (`values.py`).
"""

from __future__ import annotations

from pipeline.load.inputs import Column
from pipeline.load.layout import Layout
from pipeline.warehouse import literal

# What spreadsheets write after a day that stands alone, and before a time of day: common practice, no source.
MIDNIGHT = r"[ T](0?0:00(:00([.]0+)?)?|12:00(:00)? ?[Aa][Mm])$"
NO_DAY = (
    r"^(1899-12-3[01]|1900-01-0[01]|12/3[01]/1899|0?1/0?[01]/1900|3[01][.]12[.]1899|0?[01][.]0?1[.]1900)[ T]"
)


def empty(text: str) -> str:
    """SQL: does a text hold nothing but blanks, or nothing at all?"""
    return f"coalesce(trim({text}), '') = ''"


def joined(layout: Layout, column: Column) -> str:
    """SQL of both as one text, the day first. Where the time of day is empty, the day alone is when a visit was; of
    anything else it tells nothing."""
    day = f"regexp_replace(trim(c{layout.places[column.name]}), {literal(MIDNIGHT)}, '')"
    clock = f"regexp_replace(trim(c{layout.clocks[column.name]}), {literal(NO_DAY)}, '')"
    alone = day if column.required else "NULL"
    return (
        f"CASE WHEN {empty(day)} THEN NULL WHEN {empty(clock)} THEN {alone} ELSE {day} || ' ' || {clock} END"
    )

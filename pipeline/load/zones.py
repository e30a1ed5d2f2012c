"""The SQL that tells by whose clock a time was written: its UTC offset, the mapping's zone, that of its visit, or UTC.

What does not belong here: values of other kinds, and what is wrong with a row (`values.py`).
"""

from __future__ import annotations

import re

from pipeline.load.layout import Layout
from pipeline.warehouse import literal

# Letters after a time that say its zone: of other abbreviations most stand for several zones.
ZONES = ("Z", "UTC", "GMT")
LETTERS = r"[0-9]\s*([A-Za-z]+)\s*$"
OFFSET = r"\s*[+-][0-9]{2}:?[0-9]{2}$"
AFTER_MINUTES = ":[0-9]{2}.*"  # what stands before an offset, so that the day of a date is none
AFTERWARDS = r":[0-9]{2}[0-9:.]*([\s\p{Z}]+[^\s\p{Z}]|[^0-9:.\s\p{Z}])"  # whatever follows a time but blanks
ANY_OFFSET = r"[+-][0-9]{2}(:?[0-9]{2}){0,2}\s*$"
# The clocks that there are: from -12:00 (ships) to +14:00 (Kiritimati). IANA time zone database; from memory.
REACH = "from -12:00 to +14:00"
SOUND_OFFSET = (
    r"([+](0[0-9]|1[0-3])(:?[0-5][0-9]){0,2}|[+]14(:?00){0,2}"
    r"|-(0[0-9]|1[01])(:?[0-5][0-9]){0,2}|-12(:?00){0,2})\s*$"
)
# All that these leave out, and a few sound ones, found in one look.
SUSPECT_OFFSET = r":[0-9]{2}[^+-]*([+]1[4-9]|-1[2-9]|[+-][2-9]|[+-][0-9]{2}:?([6-9]|[0-9]{2}:?[6-9]))"


def surely_zoned(text: str) -> str:
    """Cheap: is a time written as most are, with an offset after its seconds (2026-03-31T14:05:00-05:00)?"""
    return f"substr({text}, 20, 1) IN ('+', '-', 'Z')"


def out_of_reach(layout: Layout, text: str) -> str:
    """Does a time end with an offset that no clock has, such as +25:00 or +05:60? DuckDB reads them."""
    odd = f"({_matches(text, AFTER_MINUTES + ANY_OFFSET)} AND NOT {_matches(text, AFTER_MINUTES + SOUND_OFFSET)})"
    _, zoned = time_formats(layout)
    if not zoned:
        return odd
    by_format = f"{_unzoned(text, zoned)} IS NOT NULL AND {_matches(text, ANY_OFFSET)}"
    return f"({odd} OR ({by_format} AND NOT {_matches(text, SOUND_OFFSET)}))"


def is_out_of_reach(text: str) -> bool:
    """The same of one text; in a format of the mapping's the offset may follow six digits."""
    ends = re.search(f"({AFTER_MINUTES}|[0-9]{{6}}){ANY_OFFSET}", text)
    return bool(ends and not re.search(SOUND_OFFSET, text))


def suspect_offset(layout: Layout, text: str) -> str:
    """Cheap: may the same be true?"""
    _, zoned = time_formats(layout)
    return out_of_reach(layout, text) if zoned else _matches(text, SUSPECT_OFFSET)


def _matches(text: str, pattern: str) -> str:
    return f"regexp_matches({text}, {literal(pattern)})"


def formats_sql(formats: tuple[str, ...]) -> str:
    return "[" + ", ".join(literal(f) for f in formats) + "]"


def time_formats(layout: Layout) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The mapping's formats of times: those without zone, and those that end with a UTC offset (%z)."""
    formats = layout.mapping.time_format + layout.mapping.date_format
    zoned = tuple(f for f in formats if f.endswith("%z"))
    return tuple(f for f in formats if f not in zoned), zoned


def _unzoned(text: str, zoned: tuple[str, ...]) -> str:
    """The time of day of a text in one of the formats that end with an offset: TIMESTAMP."""
    without = tuple(f.removesuffix("%z").rstrip() for f in zoned)
    return f"try_strptime(regexp_replace(trim({text}), {literal(OFFSET)}, ''), {formats_sql(without)})"


def local_time(layout: Layout, text: str) -> str:
    """The time of day as written, without zone: TIMESTAMP."""
    plain, zoned = time_formats(layout)
    ways = [f"try_strptime(trim({text}), {formats_sql(plain)})"] if plain else []
    if zoned:
        ways.append(_unzoned(text, zoned))
    ways.append(f"TRY_CAST(trim({text}) AS TIMESTAMP)")
    return f"coalesce({', '.join(ways)})" if len(ways) > 1 else ways[0]


def has_offset(layout: Layout, text: str) -> str:
    """Does a time say its own zone: a letter at the end, or anything after the minutes, or an offset of a format (%z)?

    It may be no zone: that is found out where it is read as one. Read as a local time, DuckDB would pass it over.
    """
    pattern = literal(rf"([A-Za-z]\s*$|{AFTERWARDS})")
    plain, zoned = time_formats(layout)
    written = f" AND try_strptime(trim({text}), {formats_sql(plain)}) IS NULL" if plain else ""
    said = f"(regexp_matches({text}, {pattern}){written})"
    return f"({said} OR try_strptime(trim({text}), {formats_sql(zoned)}) IS NOT NULL)" if zoned else said


def says_other_zone(layout: Layout, text: str) -> str:
    """Letters after the digits that are no zone of their own; names such as America/Chicago are. Formats tell what
    theirs mean."""
    plain, _ = time_formats(layout)
    unread = f" AND try_strptime(trim({text}), {formats_sql(plain)}) IS NULL" if plain else ""
    known = ", ".join(literal(zone) for zone in ("", *ZONES))
    return f"(upper(regexp_extract({text}, {literal(LETTERS)}, 1)) NOT IN ({known}){unread})"


def in_zone(layout: Layout, text: str) -> str:
    """A time without an offset, in the mapping's zone or in UTC: TIMESTAMPTZ; NULL beyond the last that there is."""
    return f"TRY(timezone({literal(layout.mapping.time_zone or 'UTC')}, {local_time(layout, text)}))"


def by_the_visit(layout: Layout, text: str, visit: str) -> str:
    """Has a time no zone, neither its own nor the mapping's, while that of its visit has one? Both were written down
    together, by one clock."""
    return f"(NOT {has_offset(layout, text)} AND {has_offset(layout, visit)})"


def in_zone_of_visit(layout: Layout, text: str, visit: str, visited_at: str) -> str:
    """A time without an offset by the clock of its visit, whose instant is `visited_at`: TIMESTAMPTZ."""
    ahead = f"({local_time(layout, visit)} - timezone('UTC', {visited_at}))"
    return f"TRY(timezone('UTC', {local_time(layout, text)} - {ahead}))"


def clock_changes(layout: Layout, text: str) -> tuple[str, str]:
    """Was a local time skipped, or shown twice, when clocks were changed by an hour or half an hour?"""
    zone, local, utc = (
        literal(layout.mapping.time_zone or "UTC"),
        local_time(layout, text),
        in_zone(layout, text),
    )
    again = (
        f"timezone({zone}, {utc} {sign} INTERVAL {m} MINUTE) = {local}" for sign in "+-" for m in (30, 60)
    )
    skipped, twice = f"timezone({zone}, {utc}) <> {local}", " OR ".join(again)
    unsaid = f"NOT {has_offset(layout, text)}"
    return f"({unsaid} AND coalesce(TRY({skipped}), false))", f"({unsaid} AND coalesce(TRY({twice}), false))"

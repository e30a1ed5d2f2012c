"""What the columns of a foreign file look like by its first rows. For guesses only: nothing is read by it.

What belongs here: kinds and words of values, how dates are written. What does not: which column of the contract a
column may be (`guesses.py`), and reading a file (`reader.py`).
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from pipeline.load.clocks import MIDNIGHT, NO_DAY
from pipeline.load.date_guess import DAYS, FORMATS, TIMES
from pipeline.load.header import LOOK, UTF_8, Header

MOST_BYTES = 4 * LOOK  # of a file that are looked at
MOSTLY = 0.8  # of a column's values, to be of a kind: there are slips among them
MOST_WORDS = 15  # different ones that a list of words has at most
MOST_DATES = 100  # different values that are tried as dates
NUMBER = re.compile(r"[-+\u2212]?(\d[\d.,]*|[.,]\d+)")
FRACTION = re.compile(r"[-+\u2212]?\d*[.,]\d+")
ISO = re.compile(r"\d{4}-\d\d-\d\d")
CLOCKS = tuple(time.strip() for time in TIMES if time)
OFFSET = re.compile(r"\d(Z|[-+]\d\d:?\d\d)$", re.IGNORECASE)


@dataclass(frozen=True)
class Looks:
    """By name of a column the values of the first rows, trimmed, without the empty ones."""

    values: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def may_be(self, name: str, kind: str) -> bool:
        """Could the column hold values of this kind (`inputs.Kind`)? One without values may hold anything."""
        values = self.values.get(name, ())
        if not values or kind == "text":
            return True
        if kind == "id":
            return _share(values, FRACTION.fullmatch) < MOSTLY
        if kind in ("date", "instant"):
            return _share(values[:MOST_DATES], _is_date) >= MOSTLY
        numbers = _share(values, NUMBER.fullmatch)
        if kind == "number":
            return numbers >= MOSTLY
        return len(set(values)) <= MOST_WORDS and (kind == "flag" or numbers < MOSTLY)

    def words(self, name: str) -> list[str]:
        """The different values, the most frequent first."""
        return [word for word, _ in Counter(self.values.get(name, ())).most_common()]

    def numbers(self, name: str) -> list[float]:
        """The values that are numbers, whatever their mark of decimals; none above a thousand matters here."""
        texts = (v.replace("\u2212", "-").replace(",", ".") for v in self.values.get(name, ()))
        return [float(t) for t in texts if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)", t)]

    def date_formats(self, names: Iterable[str]) -> list[str]:
        """The formats of which each explains all values of these columns that are not written as ISO 8601."""
        texts = [v for name in names for v in self.words(name)[:MOST_DATES] if not ISO.match(v)]
        return [f for f in FORMATS if texts and all(_explains(f, v) for v in texts)]

    def is_day(self, name: str) -> bool:
        """Are the values days without a time of day?"""
        days = [_day(v) for v in self.values.get(name, ())[:MOST_DATES]]
        return bool(days) and all(ISO.fullmatch(v) or any(_explains(f, v) for f in DAYS) for v in days)

    def is_clock(self, name: str) -> bool:
        """Are the values times of day without a day?"""
        clocks = [_clock(v) for v in self.values.get(name, ())[:MOST_DATES]]
        return bool(clocks) and all(any(_explains(f, v) for f in CLOCKS) for v in clocks)

    def joined_formats(self, day: str, clocks: Iterable[str]) -> list[str]:
        """The formats of which each explains all times that days and times of day make together."""
        days = [_day(v) for v in self.words(day)[:MOST_DATES]]
        times = [_clock(v) for name in clocks for v in self.words(name)[:MOST_DATES]]
        ways = [d for d in ("%Y-%m-%d", *DAYS) if all(_explains(d, v) for v in days)]
        return [f"{d} {t}" for d in ways for t in CLOCKS if all(_explains(t, v) for v in times)]

    def lacks_offset(self, name: str) -> bool:
        """Does any value bear no UTC offset?"""
        return not all(OFFSET.search(v) for v in self.values.get(name, ()))


def look_at(text: Path, header: Header, encoding: str = UTF_8) -> Looks:
    """The beginning of a text file with this header; nothing of one that has none."""
    with text.open("rb") as file:
        beginning = file.read(MOST_BYTES)
    if len(beginning) == MOST_BYTES:  # cut in a row
        beginning = beginning[: beginning.rfind(b"\n") + 1]
    lines = beginning.decode(encoding, errors="replace")
    values: dict[str, list[str]] = {name: [] for name in header.names if name}
    rows = (r for r in csv.reader(io.StringIO(lines, newline=""), delimiter=header.separator) if any(r))
    try:
        first = next(rows, None)
        for row in (r for r in rows if r != first):  # a page's header stands there again
            for name, value in zip(header.names, row, strict=False):
                if name and value.strip():
                    values[name].append(value.strip())
    except csv.Error:
        pass  # what was seen so far will do
    return Looks({name: tuple(found) for name, found in values.items()})


def _share(values: tuple[str, ...], holds: Callable[[str], object]) -> float:
    return sum(bool(holds(v)) for v in values) / len(values)


def _day(value: str) -> str:
    return re.sub(MIDNIGHT, "", value)


def _clock(value: str) -> str:
    return re.sub(NO_DAY, "", value)


def _is_date(value: str) -> bool:
    return bool(ISO.match(value)) or any(_explains(f, value) for f in FORMATS)


def _explains(form: str, value: str) -> bool:
    try:
        datetime.strptime(value, form)
    except ValueError:
        return False
    return True

"""Where the records of a CSV file begin and end, found without a loop over its lines.

A tidy file (RFC 4180: every quote opens or closes a field, one kind of line break) is split at the line breaks outside
quotes, with array operations only. Any other file is mended: lines that hold a quote are looked at one by one, a record
that no rule of CSV explains is set apart whole, and a tidy text is written for DuckDB to read. What does not belong
here: what the values mean (`reader.py`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]
PIECE = 1 << 24
LONGEST = 1_900_000  # bytes of one record; DuckDB reads lines of up to 2,000,000
NEWLINE, RETURN, QUOTE = 10, 13, 34
BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Malformed:
    """A record that cannot be read as CSV: its first line, its bytes, and why."""

    line: int
    start: int
    end: int
    why: str


@dataclass(frozen=True)
class Records:
    """The readable records of a file, header first, blank lines left out.

    starts, ends: bytes in `data`; lines: physical line of the beginning, from 1; numbers: how DuckDB's reject_errors
    counts them, from 1. `text` is the mended text, None for a tidy file.
    """

    data: Bytes
    starts: Ints
    ends: Ints
    lines: Ints
    numbers: Ints
    malformed: tuple[Malformed, ...] = ()
    text: bytes | None = field(default=None, repr=False)

    def numbered(self, numbers: Ints) -> list[tuple[int, str]]:
        """Line number and raw text of the records that DuckDB calls by these numbers."""
        return self._told(self._places(numbers))

    def rows(self, ragged: Ints, ordinals: Ints) -> list[tuple[int, str]]:
        """The same of staged rows, given by their ordinals: rows are all records but the header and the ragged ones."""
        row = np.ones(len(self.starts), dtype=np.bool_)
        row[:1] = False
        row[self._places(ragged)] = False
        return self._told(np.flatnonzero(row)[ordinals].astype(np.int64))

    def raw(self, start: int, end: int) -> str:
        return self.data[start:end].tobytes().decode("utf-8", errors="replace").rstrip("\r\n")

    def _places(self, numbers: Ints) -> Ints:
        return np.searchsorted(self.numbers, numbers).astype(np.int64)

    def _told(self, places: Ints) -> list[tuple[int, str]]:
        """Line and raw text, without the line break that ends it."""
        at = zip(*(a[places].tolist() for a in (self.lines, self.starts, self.ends)), strict=True)
        return [(line, self.raw(start, end)) for line, start, end in at]


def find_records(path: Path, separator: str, columns: int) -> Records:
    """The records of the UTF-8 text at `path`, whose header has `columns` names."""
    data: Bytes = np.memmap(path, dtype=np.uint8, mode="r") if path.stat().st_size else np.empty(0, np.uint8)
    tidy = _tidy(data, separator) if columns > 1 else None
    return tidy if tidy is not None else _mended(data.tobytes(), separator)


def count_lines(path: Path, separator: str) -> int | None:
    """How many line breaks outside quotes a text without returns holds; None if its quotes are not in order.

    Cheaper than its records, and as good as long as DuckDB finds as many.
    """
    data: Bytes = np.memmap(path, dtype=np.uint8, mode="r")
    quotes = _places(data, QUOTE)
    if not _quotes_in_order(data, quotes, separator):
        return None
    newlines = _places(data, NEWLINE)
    before = np.searchsorted(newlines, quotes)
    return len(newlines) - int((before[1::2] - before[0::2]).sum())


def _places(data: Bytes, byte: int, below: bool = False) -> Ints:
    """Where `byte` stands; `below`: or a smaller one."""
    plain = np.asarray(data)
    pieces = ((i, plain[i : i + PIECE]) for i in range(0, len(plain), PIECE))
    found = [np.flatnonzero(piece <= byte if below else piece == byte) + i for i, piece in pieces]
    return np.concatenate(found).astype(np.int64) if found else np.empty(0, dtype=np.int64)


def _tidy(data: Bytes, separator: str) -> Records | None:
    """The records of a tidy file, or None where the file is not one."""
    controls = _places(data, RETURN, below=True)
    kinds = data[controls]
    newlines, returns = controls[kinds == NEWLINE], controls[kinds == RETURN]
    if len(returns) and not _all_crlf(newlines, returns):
        return None
    if not len(data) or not kinds.all() or data[_beginning(data) :][:1].tobytes() in (b"\n", b"\r", b""):
        return None
    quotes = _places(data, QUOTE)
    if not _quotes_in_order(data, quotes, separator):
        return None
    breaks = newlines[np.searchsorted(quotes, newlines) % 2 == 0]
    starts = np.concatenate(([0], breaks + 1))
    starts = starts[starts < len(data)]
    ends = np.append(starts[1:], len(data)).astype(np.int64)
    first = data[starts]
    blank = (first == NEWLINE) | ((first == RETURN) & (ends - starts <= 2))
    lines = np.searchsorted(newlines, starts).astype(np.int64) + 1
    kept = np.flatnonzero(~blank)
    return Records(data, starts[kept].astype(np.int64), ends[kept], lines[kept], (kept + 1).astype(np.int64))


def _all_crlf(newlines: Ints, returns: Ints) -> bool:
    return len(newlines) == len(returns) and bool(np.all(newlines == returns + 1))


def _beginning(data: Bytes) -> int:
    """Where the text begins, after its byte order mark."""
    return len(BOM) if data[: len(BOM)].tobytes() == BOM else 0


def begins_blank(path: Path) -> bool:
    """Is the first line of a text without returns blank?"""
    with path.open("rb") as file:
        return file.read(len(BOM) + 1).removeprefix(BOM).startswith(b"\n")


def _quotes_in_order(data: Bytes, quotes: Ints, separator: str) -> bool:
    """True if quotes alternate between opening a field and closing it, a doubled quote being both."""
    if len(quotes) % 2:
        return False
    opening, closing = quotes[0::2], quotes[1::2]
    beginning = _beginning(data)
    allowed = np.array([ord(separator), NEWLINE, RETURN, QUOTE], dtype=np.uint8)
    before = data[np.maximum(opening - 1, 0)]
    after = data[np.minimum(closing + 1, len(data) - 1)]
    opens = (opening == beginning) | np.isin(before, allowed)
    closes = (closing == len(data) - 1) | np.isin(after, allowed)
    return bool(opens.all() and closes.all())


def _mended(raw: bytes, separator: str) -> Records:
    """The records of any file. Line breaks of every kind end a line; what they are inside quotes, they stay as LF."""
    text = raw.removeprefix(BOM).replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    data: Bytes = np.frombuffer(text, dtype=np.uint8)
    newlines = _places(data, NEWLINE)
    starts = np.concatenate(([0], newlines + 1)).astype(np.int64)
    starts = starts[starts < len(data)]
    ends = np.append(starts[1:], len(data)).astype(np.int64)
    special: dict[
        int, tuple[int, bytes | None]
    ] = {}  # first line -> line after the last, what to write instead
    malformed: list[Malformed] = []

    def set_apart(line: int, after: int, why: str) -> None:
        special[line] = (after, None)
        malformed.append(Malformed(line + 1, int(starts[line]), int(ends[after - 1]), why))

    reader = _RecordReader(text, separator)
    wanted = np.union1d(_lines_of(newlines, _places(data, QUOTE)), _lines_of(newlines, _places(data, 0)))
    free = 0
    for line in wanted.tolist():
        if line < free:
            continue
        fields, stop = reader.read(int(starts[line]))
        free = line + 1
        if fields is None:
            set_apart(line, free, reader.why)
            continue
        free = int(np.searchsorted(newlines, stop)) + 1
        if any(b"\0" in f for f in fields):
            set_apart(line, free, "holds a NUL byte, expected text")
        else:
            special[line] = (free, reader.write(fields))
    for line in np.flatnonzero(data[starts] == NEWLINE).tolist() if len(starts) else []:
        special.setdefault(line, (line + 1, None))
    return _write(text, data, starts, ends, special, malformed)


def _lines_of(newlines: Ints, places: Ints) -> Ints:
    return np.unique(np.searchsorted(newlines, places)).astype(np.int64)


def _write(
    text: bytes,
    data: Bytes,
    starts: Ints,
    ends: Ints,
    special: dict[int, tuple[int, bytes | None]],
    malformed: list[Malformed],
) -> Records:
    """The mended text and its records: untouched stretches are copied whole."""
    keep = np.ones(len(starts), dtype=np.bool_)
    last = np.arange(len(starts))
    parts: list[bytes] = []
    done = 0
    for line in sorted(special):
        after, instead = special[line]
        if line < done:  # a blank line inside a quoted field
            continue
        if line > done:
            parts.append(text[starts[done] : ends[line - 1]])
        keep[line + 1 : after] = False
        keep[line] = instead is not None
        last[line] = after - 1
        if instead is not None:
            parts.append(instead)
        done = after
    if done < len(starts):
        parts.append(text[starts[done] :])
    kept = np.flatnonzero(keep).astype(np.int64)
    return Records(
        data,
        starts[kept],
        ends[last[kept]],
        kept + 1,
        np.arange(1, len(kept) + 1, dtype=np.int64),
        tuple(malformed),
        b"".join(parts),
    )


class _RecordReader:
    """Reads one record at a place: quoted fields, blanks around them allowed, and plain ones, where a quote is text."""

    def __init__(self, text: bytes, separator: str) -> None:
        self.text = text
        self.separator = separator.encode()
        blank = rb"[ ]*" if separator == "\t" else rb"[ \t]*"
        self.quoted = re.compile(blank + rb'"([^"]*(?:""[^"]*)*)"' + blank)
        self.plain = re.compile(rb"[^" + re.escape(self.separator) + rb"\n]*")
        self.why = ""

    def read(self, start: int) -> tuple[list[bytes] | None, int]:
        """The fields of the record at `start` and where it stops (at a line break or the end); None with `why`."""
        fields: list[bytes] = []
        at = start
        while True:
            quoted = self.quoted.match(self.text, at)
            if quoted:
                fields.append(quoted[1].replace(b'""', b'"'))
                at = quoted.end()
                if at - start > LONGEST:
                    return self._fail(f"is longer than {LONGEST} bytes, expected a shorter row")
            else:
                plain = self.plain.match(self.text, at)
                assert plain is not None  # it matches the empty text too
                if plain[0].lstrip(b" \t").startswith(b'"'):
                    return self._fail("opens a quote that is never closed, expected a closing quote")
                fields.append(plain[0])
                at = plain.end()
            if at >= len(self.text) or self.text[at] == NEWLINE:
                return fields, at
            if self.text[at : at + 1] != self.separator:
                return self._fail("has text after a closing quote, expected a separator")
            at += 1

    def _fail(self, why: str) -> tuple[None, int]:
        self.why = why
        return None, 0

    def write(self, fields: list[bytes]) -> bytes:
        if fields == [b""]:  # an empty line would be no record at all
            return b'""\n'
        quoted = (b'"' + f.replace(b'"', b'""') + b'"' if f else b"" for f in fields)
        return self.separator.join(quoted) + b"\n"

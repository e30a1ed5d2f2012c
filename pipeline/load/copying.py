"""A private copy of every file that is read, and what one pass over it tells.

Only the copy is read: what was hashed is what was loaded, whatever happens to the original meanwhile; and a work file
that got damaged can be made again from the copies. What does not belong here: the list of what was kept (`kept.py`).
"""

from __future__ import annotations

import codecs
import errno
import gzip
import hashlib
import shutil
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pipeline.errors import UsageError
from pipeline.load.files import InputFile

PIECE = 1 << 20
PACKED = {b"\x1f\x8b": "gzip data", b"PK\x03\x04": "a zip archive or a spreadsheet", b"PAR1": "Parquet"}


@dataclass(frozen=True)
class Copy:
    """One copied file: `path` as it came, `text` decompressed UTF-8 (the same file unless that took some work).

    newlines: how many there are. quotes, returns, nuls: does it hold any. ends_open: no line break after the last line.
    marks: where each piece begins that was looked at, and how many newlines stand before it.
    """

    path: Path
    text: Path
    sha256: str
    size: int
    newlines: int = 0
    quotes: bool = False
    returns: bool = False
    nuls: bool = False
    ends_open: bool = False
    marks: tuple[tuple[int, int], ...] = ()


class _Measure:
    """Looks at a text piece by piece; `bad_byte` is the place of the first byte that is not UTF-8, from 0."""

    def __init__(self) -> None:
        self.newlines = self.seen = 0
        self.marks: list[tuple[int, int]] = []
        self.quotes = self.returns = self.nuls = False
        self.last = b"\n"
        self.bad_byte: int | None = None
        self.cut_short = False
        self._decoder = codecs.getincrementaldecoder("utf-8")()

    def add(self, piece: bytes) -> None:
        self.marks.append((self.seen, self.newlines))
        self.newlines += int(np.count_nonzero(np.frombuffer(piece, dtype=np.uint8) == 10))
        self.quotes = self.quotes or b'"' in piece
        self.returns = self.returns or b"\r" in piece
        self.nuls = self.nuls or b"\0" in piece
        self._decode(piece)
        self.last = piece[-1:]
        self.seen += len(piece)

    def _decode(self, piece: bytes, final: bool = False) -> None:
        waiting = len(self._decoder.getstate()[0])
        if self.bad_byte is not None or (not waiting and piece.isascii()):
            return
        try:
            self._decoder.decode(piece, final)
        except UnicodeDecodeError as error:
            self.bad_byte = self.seen - waiting + error.start
            self.cut_short = final

    def finish(self) -> None:
        self._decode(b"", final=True)


def take_copy(file: InputFile, copy: Path, encoding: str | None = None) -> Copy:
    """Copy `file` to `copy`, unpack it beside that if it is packed, and measure its text."""
    copy.parent.mkdir(parents=True, exist_ok=True)
    try:
        before = file.path.stat()
        shutil.copyfile(file.path, copy)
        after = file.path.stat()
        if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
            raise UsageError(f"{file.name}: changed while it was being read; run again once it is complete")
        return measure(file, copy, copy.with_name(f"{copy.name}.text"), encoding)
    except OSError as error:
        raise UsageError(f"{file.name}: {_why(error)}") from error


def measure(file: InputFile, copy: Path, unfolded: Path, encoding: str | None = None) -> Copy:
    """Measure a copy that was taken before; another form of its text is written to `unfolded`."""
    digest = hashlib.sha256()
    text = _Measure()
    direct = not (file.parquet or file.packed or encoding)
    with copy.open("rb") as source:
        while piece := source.read(PIECE):
            digest.update(piece)
            if direct:
                text.add(piece)
    size = copy.stat().st_size
    sha256 = digest.hexdigest()
    if file.parquet:
        return Copy(copy, copy, sha256, size)
    path = copy
    if not direct:
        path = unfolded
        _unfold(file, copy, path, encoding, text.add)
    text.finish()
    if text.bad_byte is not None:
        raise UsageError(_encoding_message(file.name, path, text.bad_byte, text.cut_short))
    return Copy(
        copy,
        path,
        sha256,
        size,
        newlines=text.newlines,
        quotes=text.quotes,
        returns=text.returns,
        nuls=text.nuls,
        ends_open=text.last != b"\n",
        marks=tuple(text.marks),
    )


def unfold_again(
    file: InputFile, copy: Path, unfolded: Path, sha256: str, encoding: str | None = None
) -> Copy:
    """A copy that was measured when it was taken, ready to be looked at again; nothing is counted anew."""
    text = copy
    if file.packed or encoding:
        text = unfolded
        _unfold(file, copy, text, encoding, lambda _: None)
    return Copy(copy, text, sha256, copy.stat().st_size)


def _unfold(
    file: InputFile, copy: Path, path: Path, encoding: str | None, add: Callable[[bytes], None]
) -> None:
    """Write the decompressed UTF-8 text of a copy to `path`; `encoding` is that of files that are not UTF-8."""
    decoder = (
        codecs.getincrementaldecoder(encoding)() if encoding and not _is_utf_8(file, copy, encoding) else None
    )
    at = 0
    try:
        with gzip.open(copy) if file.packed else copy.open("rb") as source, path.open("wb") as target:
            while piece := source.read(PIECE):
                plain = piece if decoder is None else decoder.decode(piece).encode("utf-8")
                at += len(piece)
                target.write(plain)
                if plain:
                    add(plain)
            if decoder is not None:
                decoder.decode(b"", True)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise UsageError(f"{file.name}: cannot be unpacked ({error}); expected a whole gzip file") from error
    except UnicodeDecodeError as error:
        raise UsageError(
            f"{file.name}: byte {at + error.start + 1} is not {encoding}, as the mapping says"
        ) from error
    except UnicodeError as error:
        raise UsageError(f"{file.name}: is not {encoding}, as the mapping says: {error}") from error


def _is_utf_8(file: InputFile, copy: Path, encoding: str) -> bool:
    """Is a file UTF-8 although the mapping says an encoding? It is with its byte order mark, or where it reads as UTF-8
    and is not ASCII alone: text of one byte a character does not do so by chance, that of several may."""
    one_byte = len(bytes(range(256)).decode(encoding, errors="replace")) == 256
    decoder = codecs.getincrementaldecoder("utf-8")()
    is_ascii = True
    try:
        with gzip.open(copy) if file.packed else copy.open("rb") as source:
            piece = source.read(PIECE)
            if piece.startswith(codecs.BOM_UTF8):
                return True
            while one_byte and piece:
                is_ascii = is_ascii and piece.isascii()
                decoder.decode(piece)
                piece = source.read(PIECE)
            decoder.decode(b"", final=True)
    except (EOFError, zlib.error, gzip.BadGzipFile, UnicodeDecodeError):
        return False
    return one_byte and not is_ascii


def _encoding_message(name: str, text: Path, place: int, cut_short: bool) -> str:
    with text.open("rb") as file:
        beginning = file.read(4)
        file.seek(0)
        before = file.read(place)
        byte = file.read(1)
    for begins, kind in PACKED.items():
        if beginning.startswith(begins):
            return f"{name}: holds {kind}, expected text; give it its own ending, or export it as CSV"
    if beginning[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return f"{name}: byte 1 begins UTF-16 text, expected UTF-8; export it again or say encoding in the mapping"
    line = before.count(b"\n") + 1
    if cut_short:
        return f"{name}:{line}: ends within a character (byte {place + 1}), expected a whole UTF-8 file"
    return (
        f"{name}:{line}: byte {place + 1} holds 0x{byte[0]:02x}, expected UTF-8 (perhaps Windows-1252); "
        "export it again or say encoding in the mapping"
    )


def _why(error: OSError) -> str:
    if error.errno == errno.ENOSPC:
        return "cannot be copied: no space left where the results go"
    return f"cannot be read: {error.strerror or error}"

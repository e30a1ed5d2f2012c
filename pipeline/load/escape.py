"""How messages show a value that came from a file: cut, and with nothing in it that a terminal would obey."""

from __future__ import annotations

import unicodedata

SHOWN = 40


def shown(text: str) -> str:
    """`text` in quotes, at most 40 characters of it; control and format characters, and unusual blanks, escaped."""
    cut = text[:SHOWN] + ("..." if len(text) > SHOWN else "")
    return "'" + "".join(_plain(c) for c in cut) + "'"


def _plain(character: str) -> str:
    short = {"\n": "\\n", "\r": "\\r", "\t": "\\t", "\\": "\\\\"}.get(character)
    if short:
        return short
    if character != " " and unicodedata.category(character) in ("Cc", "Cf", "Cs", "Zl", "Zp", "Zs"):
        return f"\\u{ord(character):04x}"
    return character


def is_plain(name: str) -> bool:
    """Is a file's name UTF-8, without control characters? Others neither stand in tables nor on terminals."""
    return not any(unicodedata.category(c) in ("Cc", "Cs") for c in name)


def name(text: str) -> str:
    """`text` as an SQL identifier."""
    return '"' + text.replace('"', '""') + '"'

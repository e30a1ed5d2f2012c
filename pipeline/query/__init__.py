"""Ad-hoc SQL on a publication: read-only, fenced, limited in memory and time.

What belongs here: the door (one statement in, rows out), how rows are written, the prompt and its words. What does
not: what the tables mean (`pipeline/catalog/`) and the questions themselves (`sql/examples/`).
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TextIO

from pipeline.query.door import Door
from pipeline.query.prompt import Prompt
from pipeline.query.words import respond

__all__ = ["Door", "answer", "prompt"]


def answer(published: Path, query: str, format_: str, out: TextIO) -> int:
    """Answer one query, or one of the prompt's plain words, on `out`; the exit status."""
    with Door(published) as door:
        respond(door, query, format_, out)
    return 0


def prompt(published: Path, format_: str) -> int:
    """Answer what is typed, or what comes through a pipe, until `quit` or the end; the exit status."""
    return Prompt(published, format_, sys.stdin, sys.stdout).run()

"""The data dictionary as a page: `docs/dictionary.md`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.catalog.dictionary import all_macros
from pipeline.catalog.entries import TableEntry, table_entry

HEAD = """\
# Data dictionary

Every table of a publication (`DIR/fleet.duckdb`), its key, and every column. Made from `pipeline/catalog/` by
`python -m pipeline.catalog > docs/dictionary.md`; the same text is in the table `dictionary` and in the
comments of the published file. Pressures are gauge statics in inches of water column (in. w.c.); return
static is negative, supply static positive. `u_` begins a standard uncertainty (k = 1). NULL is called empty.
"""
MACROS = """\
## Macros

Functions in the published file; they work in any DuckDB client. Parameters with a type want that type.
"""


def page(names: Sequence[str]) -> str:
    """The page for these tables, in this order."""
    parts = [HEAD, *_contents(names)]
    for name in names:
        parts += _table(table_entry(name))
    return "\n".join([*parts, MACROS, *_macros()]).rstrip() + "\n"


def _contents(names: Sequence[str]) -> Iterator[str]:
    yield "| table | what it holds |"
    yield "|---|---|"
    for name in names:
        yield f"| [{name}](#{name}) | {table_entry(name).meaning} |"
    yield ""


def _table(entry: TableEntry) -> Iterator[str]:
    yield f"## {entry.name}\n"
    yield f"{entry.meaning} Key: {', '.join(f'`{k}`' for k in entry.key) if entry.key else 'none'}.\n"
    yield "| column | type | unit | meaning | source |"
    yield "|---|---|---|---|---|"
    for c in entry.columns:
        cells = (f"`{c.name}`", c.type, c.unit, c.text, c.source)
        yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"
    yield ""


def _macros() -> Iterator[str]:
    yield "| macro | meaning | unit and source |"
    yield "|---|---|---|"
    for macro in all_macros():
        cells = (f"`{macro.name}({macro.parameters})`", macro.meaning, macro.unit)
        yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"

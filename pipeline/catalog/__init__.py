"""Every published table and column once: meaning, unit, words, what NULL says, and where it comes from.

What belongs here: descriptions, kept in `tables/<table>.toml`, and what is made of them (the published
`dictionary`, comments in the published file, `docs/dictionary.md`). What does not: SQL that fills the tables
(`sql/`). Input columns are described in `pipeline/load/inputs.py`, checks in `sql/checks/`: read from there.
"""

from pipeline.catalog.entries import ColumnEntry, TableEntry, all_tables, table_entry

__all__ = ["ColumnEntry", "TableEntry", "all_tables", "table_entry"]

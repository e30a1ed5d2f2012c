"""Files of which many rows are rejected for words that the contract does not know: which words, for a mapping to say
what they mean.

What does not belong here: what a word may mean (`guesses.py`), and the mapping to start from (`mapping_start.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.load.escape import shown
from pipeline.load.inputs import BY_NAME, Column, Table
from pipeline.load.looks import MOST_WORDS
from pipeline.warehouse import Warehouse

SAID = 3  # words that a message shows


@dataclass(frozen=True)
class Miscalled:
    """`words` of a file for a column, in small letters, the most frequent first, that stand in `rows_wrong` rows."""

    file: str
    table: Table
    column: Column
    words: tuple[str, ...]
    rows_wrong: int
    rows_read: int

    @property
    def message(self) -> str:
        """What a run says of it."""
        some = ", ".join(map(shown, self.words[:SAID])) + (", ..." if len(self.words) > SAID else "")
        return (
            f"{self.file}: {self.rows_wrong} of {self.rows_read} rows hold words for {self.column.name} that are not "
            f"known ({some}), expected {self.column.expected}, or what they mean in a mapping"
        )


def miscalled(warehouse: Warehouse) -> list[Miscalled]:
    """The files that no gate has accepted yet with more unknown words for a column than the gate lets pass, but no more
    different ones than a list of words has."""
    loads = warehouse.con.sql(
        "SELECT f.load_id, f.file, f.table_name, f.rows_read FROM load_file AS f JOIN refused_row AS r USING (load_id) "
        "WHERE NOT f.accepted AND r.reason = 'bad_value' GROUP BY ALL "
        "HAVING count(*) >= getvariable('gate_rejected_rows') "
        "AND count(*) > getvariable('gate_rejected_share') * f.rows_read ORDER BY f.load_id"
    ).fetchall()
    least, share = (warehouse.settings[f"gate_rejected_{what}"] for what in ("rows", "share"))
    found = []
    for load_id, file, name, rows_read in loads:
        table = BY_NAME[name]
        for place, column in enumerate(table.columns):
            if not column.choices:
                continue
            words = warehouse.con.sql(
                f"SELECT lower(trim(texts[{place + 1}])) AS word, count(*) AS n FROM {table.staged} "
                f"WHERE load_id = {load_id} AND list_contains(wrong, {place}) AND trim(texts[{place + 1}]) <> '' "
                "GROUP BY word ORDER BY n DESC, word"
            ).fetchall()
            wrong = sum(n for _, n in words)
            if words and wrong >= least and wrong > share * rows_read and len(words) <= MOST_WORDS:
                said = tuple(word for word, _ in words)
                found.append(Miscalled(file, table, column, said, wrong, rows_read))
    return found

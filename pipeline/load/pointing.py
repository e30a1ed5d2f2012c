"""Line and raw text of the staged rows that rejected_row and superseded_row show, read from the kept copies.

What does not belong here: which rows those are (`resolve.py`), and how records are found (`records.py`).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl

from pipeline.load import kept
from pipeline.load.copying import unfold_again
from pipeline.load.lines import Lines
from pipeline.load.records import Ints
from pipeline.load.staging import append, plan, point_at
from pipeline.warehouse import Warehouse

WANTED = """
WITH wanted AS (
    SELECT load_id, ordinal FROM row_fate WHERE fate IN ('rejected', 'superseded')
    UNION
    SELECT by_load_id, by_ordinal FROM row_fate WHERE fate = 'superseded'
)
SELECT load_id, list(ordinal ORDER BY ordinal) FROM wanted ANTI JOIN row_line USING (load_id, ordinal)
GROUP BY load_id ORDER BY load_id
"""


def point_at_lines(warehouse: Warehouse, into: Path) -> None:
    """Fill row_line for the rows that are about to be shown and were not before."""
    wanted = warehouse.con.sql(WANTED).fetchall()
    for load_id, ordinals in wanted:
        _point_at(warehouse, into, load_id, np.array(ordinals, dtype=np.int64))
    if wanted:
        kept.forget_incoming(into)


def _point_at(warehouse: Warehouse, into: Path, load_id: int, ordinals: Ints) -> None:
    load = kept.KeptLoad(*warehouse.con.sql(f"{kept.LOADS} WHERE load_id = {load_id}").fetchall()[0])
    folder = kept.drops_folder(into)
    path = folder / load.kept
    if not path.exists():  # someone emptied drops/: the row is still shown, without its line
        return
    mapping = kept.kept_mapping(into, load.mapping)
    file = load.as_input(folder)
    ragged = warehouse.con.sql(
        f"SELECT record FROM refused_row WHERE load_id = {load_id} AND record IS NOT NULL ORDER BY record"
    ).fetchall()
    copy = unfold_again(file, path, folder / kept.UNFOLDED, load.file_sha256, mapping.encoding)
    layout = plan(file, copy, mapping, warehouse)
    marks = warehouse.con.sql(
        f"SELECT place, line_breaks FROM text_mark WHERE load_id = {load_id} ORDER BY place"
    ).fetchall()
    lines = Lines(copy.text, marks) if marks else None
    places = point_at(warehouse, layout, lines, np.array([r[0] for r in ragged], dtype=np.int64), ordinals)
    rows = {
        "load_id": [load_id] * len(places),
        "ordinal": ordinals.tolist(),
        "line_number": [line for line, _ in places],
        "raw_line": [raw for _, raw in places],
    }
    append(warehouse, "row_line", pl.DataFrame(rows))

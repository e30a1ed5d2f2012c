"""What real exports look like: other separators, decimal commas, gzip, byte order marks, extras, bad rows."""

from __future__ import annotations

import gzip
from pathlib import Path

import polars as pl

from seed_data import story

FIGURES = (
    "zero_return",
    "zero_supply",
    "return_static",
    "supply_static",
    "filter_drop",
    "coil_drop",
    "reported_tesp",
)
DIGITS = {"site_id": 2, "equipment_id": 2, "technician_id": 2, "visit_id": 4, "work_id": 2}
WEATHER = ("dry", "rain", "", "snow", "dry")
# rows that cannot be understood: what is put into a copy of an existing row, and the reason expected for it
BAD_ROWS: tuple[tuple[int, dict[str, str], str], ...] = (
    (2024, {"visit_id": "V9001", "site_id": "S97"}, "site_unknown"),
    (2024, {"visit_id": "V9002", "supply_static": "0.5o"}, "bad_number"),
    (2025, {"visit_id": "V9003", "site_id": "S98", "equipment_id": "E98"}, "site_unknown"),
    (2025, {"visit_id": "V9004", "visited_at": "31st of May"}, "bad_date"),
    (2026, {"visit_id": "V9005", "equipment_id": "E97"}, "equipment_unknown"),
    (2026, {"visit_id": "", "note": "which visit was this?"}, "missing_key"),
)


def short_ids(frame: pl.DataFrame) -> pl.DataFrame:
    """S00012 -> S13, V0000012 -> V0013, M002a -> G03a: numbers from one, as people write them."""
    changed = []
    for name, digits in DIGITS.items():
        if name in frame.columns:
            number = pl.col(name).str.extract(r"(\d+)").cast(pl.Int64) + 1
            changed.append(pl.col(name).str.slice(0, 1) + number.cast(pl.String).str.zfill(digits))
    if "instrument_id" in frame.columns:
        number = pl.col("instrument_id").str.extract(r"(\d+)").cast(pl.Int64) + 1
        letter = pl.col("instrument_id").str.slice(-1)
        changed.append((pl.lit("G") + number.cast(pl.String).str.zfill(2) + letter).alias("instrument_id"))
    return frame.with_columns(changed)


def write_tables(folder: Path, frames: dict[str, pl.DataFrame]) -> None:
    """The small tables: a byte order mark and CRLF here, tabs there."""
    sites = frames["sites"]
    labels = [
        story.HOSTILE_LABELS.get(i, f"{2 + 3 * i} {story.LABEL_FIRST[i % 8]} {story.LABEL_SECOND[i % 6]}")
        for i in range(len(sites))
    ]
    sites = sites.with_columns(pl.Series("site_label", labels))
    sites.write_csv(folder / "sites.csv", include_bom=True, line_terminator="\r\n")
    frames["work"].write_csv(folder / "work.csv", separator="\t")
    for name in ("equipment", "blower_tables", "technicians", "instruments"):
        frames[name].write_csv(folder / f"{name}.csv")


def write_visits(folder: Path, rows: pl.DataFrame, corrected: pl.DataFrame) -> None:
    """A file per year (the first holds two), each as another program would write it. `rows` has `year`."""
    rows = _with_notes(rows)
    by_year = {
        year: _with_bad_rows(rows.filter(pl.col("year").clip(2023) == year).drop("year"), year)
        for year in range(2023, 2027)
    }
    by_year[2023].write_csv(folder / "visits_2022-2023.csv")
    comma = [pl.col(name).str.replace(".", ",", literal=True) for name in FIGURES]
    by_year[2024].with_columns(comma).write_csv(
        folder / "visits_2024.csv", separator=";", include_bom=True, line_terminator="\r\n"
    )
    packed = gzip.compress(by_year[2025].write_csv().encode(), mtime=0)
    (folder / "visits_2025.csv.gz").write_bytes(packed)
    latest = by_year[2026]
    weather = pl.Series("weather", [WEATHER[i % len(WEATHER)] for i in range(len(latest))])
    latest = latest.with_columns(weather)
    latest.select(sorted(latest.columns)).write_csv(
        folder / "visits_2026.csv", line_terminator="\r\n", quote_style="always"
    )
    stamp = pl.lit("2026-11-18T08:15:00-06:00").alias("recorded_at")
    corrected.drop("year").with_columns(stamp).write_csv(folder / "visits_2026_corrections.csv")


def _with_notes(rows: pl.DataFrame) -> pl.DataFrame:
    note = rows["note"].to_list()
    for place, text in story.HOSTILE_NOTES.items():
        note[place] = text
    return rows.with_columns(pl.Series("note", note, dtype=pl.String))


def _with_bad_rows(rows: pl.DataFrame, year: int) -> pl.DataFrame:
    bad = [
        rows[10 * i + 7].with_columns(pl.lit(text).alias(name) for name, text in change.items())
        for i, (in_year, change, _) in enumerate(BAD_ROWS)
        if in_year == year
    ]
    return pl.concat([rows, *bad])

"""Two exports as other programs might write them, of our own invention.

`python -m seed_data.make_foreign DIR` writes the files of DIR/foreign_a and DIR/foreign_b. Each mapping.toml is written
by hand; it names the files, columns, words, units and formats, and this module writes a small synthetic fleet that way.
`write_plain` writes the same fleet as the contract names it: a test loads both and compares.
"""

from __future__ import annotations

import sys
import tempfile
import tomllib
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.load.inputs import BY_NAME
from pipeline.simulate import Profile, SlipRates, make_fleet

HERE = Path(__file__).resolve().parent
FACTORS = {"pa": 249.08891, "m3_per_h": 60 * 0.028316846592, "m": 0.3048}
RETURN_SIDE = ("return_static", "design_return_inwc")

# a mapping cannot tell a sign that was dropped from one that was never written
_SLIPS = SlipRates(
    return_sign_wrong=0.0,
    supply_sign_wrong=0.0,
    ports_swapped=0.0,
    reading_near_zero=0.0,
    unit_mismatch=0.0,
    visit_before_install=0.0,
    bad_number=0.0,
    equipment_unknown=0.0,
    repeated_row=0.0,
    corrected_row=0.0,
)
_SMALL = Profile(
    n_sites=8,
    total_visits=90,
    n_technicians=4,
    start_on=date(2024, 11, 20),
    years=2.0,
    replaced_share=0.0,
    second_unit_share=0.0,
    min_files=1,
    tap_empty_share=0.0,
    slips=_SLIPS,
)


@dataclass(frozen=True)
class Export:
    """A fleet to write, and the mapping file that tells how."""

    name: str
    profile: Profile
    seed: int

    @property
    def mapping_file(self) -> Path:
        return HERE / self.name / "mapping.toml"

    def mapping(self) -> dict[str, Any]:
        return tomllib.loads(self.mapping_file.read_text(encoding="utf-8"))


EXPORTS = (
    Export(
        "foreign_a",
        replace(
            _SMALL, zone="Europe/Berlin", branches=("Moorheide", "Salzried"), pa_share=1.0, mmwc_share=0.0
        ),
        31,
    ),
    Export(
        "foreign_b",
        replace(_SMALL, zone="America/Denver", branches=("Pinto Flats",), pa_share=0.0, mmwc_share=1.0),
        32,
    ),
)


def write_plain(folder: Path, export: Export) -> None:
    """The same fleet under the contract's names, with the columns that the export has; times to the minute.

    What the mapping says once for all rows, the unit, is a column here.
    """
    said = export.mapping()
    for name, frame in _tables(export).items():
        columns = list(said["columns"][name])
        if name == "visits" and "pressure_unit" not in columns:
            columns.append("pressure_unit")
        frame.select(columns).write_csv(folder / f"{name}.csv")


def write_export(folder: Path, export: Export) -> None:
    """The fleet as the other program writes it."""
    folder.mkdir(parents=True, exist_ok=True)
    said = export.mapping()
    for name, frame in _tables(export).items():
        columns = [
            _foreign(said, name, column).alias(theirs) for column, theirs in said["columns"][name].items()
        ]
        text = frame.select(columns).write_csv(separator=said.get("separator", ","))
        (folder / said["files"][name].replace("*", "2024-26")).write_bytes(
            text.encode(said.get("encoding", "utf-8"))
        )


def _tables(export: Export) -> dict[str, pl.DataFrame]:
    """The tables that the export has, every cell text, times cut to the minute."""
    with tempfile.TemporaryDirectory() as folder:
        make_fleet(Path(folder), export.profile, export.seed)
        files = {name: "visits_part1" if name == "visits" else name for name in export.mapping()["files"]}
        found = {
            name: pl.read_csv(f"{folder}/{file}.csv", infer_schema=False) for name, file in files.items()
        }
    cut = pl.col("visited_at", "zeroed_at").str.replace(r":\d\d([+-]\d\d:00)$", ":00$1")
    return found | {"visits": found["visits"].with_columns(cut)}


def _foreign(said: dict[str, Any], table: str, name: str) -> pl.Expr:
    """One column as the other program writes it."""
    value, kind = pl.col(name), BY_NAME[table].column(name).kind
    words = said.get("values", {}).get(table, {}).get(name)
    unit = said.get("units", {}).get(table, {}).get(name)
    if words:
        return value.replace({ours: theirs for theirs, ours in words.items()})
    if kind == "instant":
        return value.str.slice(0, 19).str.to_datetime("%Y-%m-%dT%H:%M:%S").dt.to_string(said["time_format"])
    if kind == "date":
        return value.str.to_date("%Y-%m-%d").dt.to_string(said["date_format"])
    if unit:
        value = (value.cast(pl.Float64) * FACTORS[unit]).round(6).cast(pl.String)
    if name in RETURN_SIDE and said["return_sign"] == "magnitude":
        value = value.str.strip_prefix("-")
    comma = kind == "number" and said.get("decimal_comma", False)
    return value.str.replace(".", ",", literal=True) if comma else value


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m seed_data.make_foreign DIR\n")
        return 2
    for export in EXPORTS:
        write_export(Path(arguments[0]) / export.name, export)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""One fleet of 60,000 visits with everything planted, shared by the tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.simulate import Profile, make_fleet

PROFILE = Profile(
    n_sites=5000,
    total_visits=60_000,
    n_technicians=60,
    n_skippers=5,
    skipper_visits=400,
    n_paper_zeroers=4,
    n_wrong_ports=3,
    n_rounders=1,
    n_careless=2,
    unrecorded_work_share=0.1,
    n_faulty_gauges=2,
    n_drifting_gauges=1,
    replaced_share=0.05,
    home_technician_share=0.8,
    outlier_share=0.01,
    rows_per_file=25_000,
)


@dataclass(frozen=True)
class Made:
    """A drop that was made: its folder, and its truth as frames."""

    folder: Path
    visit: pl.DataFrame
    equipment: pl.DataFrame
    technician: pl.DataFrame
    work: pl.DataFrame
    con: duckdb.DuckDBPyConnection

    def rows(self, query: str) -> pl.DataFrame:
        """A query; `visits` are the rows, corrected ones for the first, `truth` what is planted about each."""
        return self.con.sql(query).pl()


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    folder = tmp_path_factory.mktemp("fleet")
    make_fleet(folder, PROFILE, seed=11)
    con = duckdb.connect()
    con.execute(
        "CREATE TABLE visits AS SELECT * FROM read_csv(?, all_varchar = true, header = true, "
        "filename = true) QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY filename DESC) = 1",
        [str(folder / "visits_part*.csv")],
    )
    con.execute(
        "CREATE TABLE truth AS SELECT * FROM read_parquet(?)", [str(folder / "truth" / "visit_part*.parquet")]
    )
    con.execute("CREATE TABLE people AS FROM read_parquet(?)", [str(folder / "truth" / "technician.parquet")])
    con.execute(
        "CREATE TABLE gauges AS FROM read_parquet(?)",
        [str(folder / "truth" / "technician_instrument.parquet")],
    )
    con.execute("CREATE TABLE equipment AS SELECT * FROM read_csv(?)", [str(folder / "equipment.csv")])
    yield Made(
        folder,
        con.sql("SELECT * FROM truth").pl(),
        pl.read_parquet(folder / "truth" / "equipment.parquet"),
        pl.read_parquet(folder / "truth" / "technician.parquet"),
        pl.read_parquet(folder / "truth" / "work.parquet"),
        con,
    )
    con.close()

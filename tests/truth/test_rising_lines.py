"""What the pages say of rising units against planted growth: their static by now, and when they pass the rating.

What was measured stands in docs/statistics.md.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from reports.queries import Published
from tests.conftest import FIELD_TODAY, run_stages

KEYS = ["equipment_id", "mode"]
# Half of the units with room for it grow.
GROWING = replace(Profile(), n_sites=360, visits_per_site=12, growth_share=0.5)


def rising_beside_truth(published: Path, truth: Path) -> pl.DataFrame:
    """Rows of rising_modes.sql beside the true line of the judged stretch: its slope, and what it is in the year 1970.

    The true static like new stands at every visit that was made: their means, and the mean growth, make the line.
    """
    opened = Published.open(published)
    units = opened.con.sql("SELECT equipment_id FROM equipment_trend WHERE trend = 'rising'").fetchall()
    told = opened.rows("rising_modes", units=[unit for (unit,) in units]).frame
    opened.close()
    grown = pl.read_parquet(truth / "equipment.parquet").filter(
        pl.col("last") & (pl.col("growth_inwc_per_year") > 0.005)
    )
    visits = pl.read_parquet(truth / "visit_part*.parquet").filter(
        pl.col("visited_on").is_between(date(2022, 1, 1), FIELD_TODAY)  # some are dated wrongly on purpose
    )
    means = (
        visits.join(grown.select(*KEYS, "segment", "growth_inwc_per_year"), on=[*KEYS, "segment"])
        .group_by(*KEYS, "growth_inwc_per_year")
        .agg(year=years("visited_on").mean(), static=pl.col("like_new_tesp_inwc").mean())
        .with_columns(base=pl.col("static") - pl.col("growth_inwc_per_year") * pl.col("year"))
    )
    true = pl.col("growth_inwc_per_year")
    return told.join(means, on=KEYS).with_columns(
        last_error=pl.col("last_line_inwc") - pl.col("base") - true * years("last_on"),
        level_error=pl.col("level_inwc") - pl.col("base") - true * years("last_on"),
        late_years=years("crossing_on") - (pl.col("rated_tesp_inwc") - pl.col("base")) / true,
        held=((pl.col("rated_tesp_inwc") - pl.col("base")) / true).is_between(
            years("crossing_earliest_on").fill_null(-np.inf), years("crossing_latest_on").fill_null(np.inf)
        ),
    )


def years(column: str) -> pl.Expr:
    return (pl.col(column) - date(1970, 1, 1)).dt.total_days() / 365.25


@pytest.mark.slow
def test_lines_of_growing_units(tmp_path: Path) -> None:
    make_fleet(tmp_path / "drop", GROWING, 5)
    published = run_stages([tmp_path / "drop"], tmp_path / "out", FIELD_TODAY)
    rows = rising_beside_truth(published, tmp_path / "drop" / "truth")
    assert rows.height > 100
    assert float(rows["last_error"].abs().median() or 1.0) <= 0.012
    assert float(rows["level_error"].median() or 0.0) < -0.03  # what the mean alone would have said
    passing = rows.filter(pl.col("crossing_on").is_not_null())
    heating = passing.filter(pl.col("mode") == "heating")
    assert passing.height > 60
    assert float(passing["held"].mean() or 0.0) >= 0.88
    assert abs(float(heating["late_years"].median() or 9.0)) <= 0.4
    assert 0.25 <= float((heating["late_years"] < 0).mean() or 0.0) <= 0.75  # neither too early nor too late

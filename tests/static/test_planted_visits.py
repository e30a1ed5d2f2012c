"""Single visits of simulated fleets against what was planted: TESP, and the cause of the largest excess."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.simulate.make import make_fleet
from pipeline.simulate.profile import Profile
from tests.conftest import FIELD_TODAY, query_of, run_stages

SEEDS = range(3)
CAUSES = ("return_restriction_inwc", "supply_restriction_inwc", "airflow_setting_inwc")


@pytest.fixture(scope="module")
def visits(tmp_path_factory: pytest.TempPathFactory) -> pl.DataFrame:
    """Valid visits of three fleets beside their truth; columns of the truth end in _true."""
    pieces = []
    for seed in SEEDS:
        folder = tmp_path_factory.mktemp(f"visits{seed}")
        make_fleet(folder / "drop", Profile(n_sites=300, visits_per_site=10, n_technicians=25), seed)
        ask = query_of(
            run_stages(
                [folder / "drop"], folder / "out", FIELD_TODAY, without=("gate", "contracts", "report")
            )
        )
        truth = pl.read_parquet(folder / "drop" / "truth" / "visit_part*.parquet")
        pieces.append(
            ask("SELECT * FROM visit_static WHERE valid").join(truth, on="visit_id", suffix="_true")
        )
    return pl.concat(pieces, how="vertical_relaxed")


def test_median_error_of_the_tesp_of_valid_like_new_visits(visits: pl.DataFrame) -> None:
    rows = visits.filter(pl.col("like_new"))
    assert rows.height > 4000
    assert rows.select((pl.col("tesp_inwc") - pl.col("tesp_inwc_true")).abs().median()).item() <= 0.012


def test_the_largest_cause_is_right_where_it_leads_by_more_than_five_hundredths(visits: pl.DataFrame) -> None:
    """On visits truly over the rating, whose sides and airflow are known; the margin is that of the truth."""
    true = [f"{c}_true" for c in CAUSES]
    ordered = pl.concat_list(true).list.sort(descending=True)
    rows = visits.filter(
        (pl.sum_horizontal(true) > 0)
        & (pl.col("airflow_source") != "none")
        & pl.col("sides_known")
        & (ordered.list.get(0) - ordered.list.get(1) > 0.05)
    )
    right = rows.filter(pl.concat_list(CAUSES).list.arg_max() == pl.concat_list(true).list.arg_max())
    assert rows.height > 500
    assert right.height / rows.height >= 0.95

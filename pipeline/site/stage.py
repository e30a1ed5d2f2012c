"""The site stage: SQL files in order, with the fleet-wide priors fitted on arrays between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.moderation import fit_prior, random_effect_sd
from pipeline.site.ranks import rank_frame
from pipeline.warehouse import Warehouse

LISTED = """
    SELECT equipment_id, mode, level_inwc, level_se_inwc, level_df, s.rated_tesp_inwc
    FROM site_static AS s JOIN equipment AS e USING (equipment_id)
    WHERE static_state IN ('chronic', 'uncertain') AND (e.retired_on IS NULL OR e.retired_on > getvariable('today'))
    ORDER BY equipment_id, mode
"""


def run_site(warehouse: Warehouse) -> None:
    """Make site_static, site_trend, equipment_trend and site_priority."""
    set_measurer_sd(warehouse)
    for name in ("comparable_visit", "level_visit", "level_centre", "level_weight", "level_scatter"):
        warehouse.run(f"site/{name}.sql")
    set_prior(
        warehouse,
        "scatter",
        "SELECT scatter_variance, n - 1 AS df FROM level_scatter WHERE n >= 3 ORDER BY ALL",
    )
    warehouse.run("site/site_cause.sql")
    warehouse.run("site/site_static.sql")
    for name in ("duct_question", "duct_answer", "site_what_if"):
        warehouse.run(f"site/{name}.sql")
    for series, trend in (("series_tesp", "site_trend"), ("series_restriction", "restriction_trend")):
        warehouse.run(f"site/{series}.sql")
        warehouse.run("site/series_slope.sql")
        warehouse.run(f"site/{trend}.sql")
    warehouse.run("site/trend_start.sql")
    warehouse.run("site/trend_line.sql")
    set_prior(warehouse, "trend", "SELECT scatter_variance, df FROM trend_line WHERE df >= 2 ORDER BY ALL")
    warehouse.run("site/change_point.sql")
    warehouse.run("site/equipment_trend.sql")
    warehouse.store("rank_interval", rank_frame(warehouse.query(LISTED)))
    for name in ("site_priority", "branch_static", "site_attention"):
        warehouse.run(f"site/{name}.sql")


def set_measurer_sd(warehouse: Warehouse) -> None:
    """How far sound technicians with their instruments differ on TESP (in. w.c.), as the variable `measurer_sd`."""
    rows = warehouse.query(
        """
        SELECT tesp_offset_inwc, tesp_offset_se FROM instrument_offset
        WHERE NOT return_doubtful AND NOT supply_doubtful AND tesp_offset_inwc IS NOT NULL ORDER BY ALL
        """
    )
    sd = random_effect_sd(
        _floats(rows["tesp_offset_inwc"].to_numpy()), _floats(rows["tesp_offset_se"].to_numpy())
    )
    warehouse.set_variable("measurer_sd", sd, "DOUBLE")


def set_prior(warehouse: Warehouse, name: str, query: str) -> None:
    """Fit a prior to the variances of `query` (variance, df) into variables <name>_prior_df, <name>_prior_variance."""
    rows = warehouse.query(query)
    variance, df = _floats(rows[rows.columns[0]].to_numpy()), _floats(rows["df"].to_numpy())
    prior_df, prior_variance = fit_prior(variance, df)
    warehouse.set_variable(f"{name}_prior_df", prior_df, "DOUBLE")
    warehouse.set_variable(f"{name}_prior_variance", prior_variance, "DOUBLE")


def _floats(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return values.astype(np.float64)

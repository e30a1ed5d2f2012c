"""The site stage, step by step; what is fitted over the fleet stands between the SQL files as variables."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.moderation import LARGEST_DF, fit_prior, random_effect_sd, settled
from pipeline.site.levels import level_centre, level_scatter
from pipeline.site.lines import change_place, trend_line
from pipeline.site.ranks import rank_frame
from pipeline.site.trends import series
from pipeline.site.visits import make_by_parts
from pipeline.steps import Step, run_steps
from pipeline.warehouse import Warehouse

Floats = NDArray[np.float64]

LOOSELY = 0.05  # the step (see `settled`) of figures that are known to no more


def run_site(warehouse: Warehouse) -> None:
    """Make the tables on units, equipment and branches: what STEPS lists."""
    run_steps(warehouse, STEPS)


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
    warehouse.set_variable("measurer_sd", settled(sd, LOOSELY), "DOUBLE")  # of few technicians


def look_at_visits(warehouse: Warehouse) -> None:
    """A first, robust look at the visits of each unit: its middle, its slope, and how far visits lie from them."""
    make_by_parts(warehouse, level_centre(warehouse), series(warehouse))


def weigh_visits(warehouse: Warehouse) -> None:
    """With the fleet's scatter as the yardstick: levels, causes and lines of the weighted visits, and steps in them."""
    make_by_parts(warehouse, level_scatter(warehouse), trend_line(warehouse), change_place(warehouse))


def set_level_scatter(warehouse: Warehouse) -> None:
    """The fleet's scatter around a level (in. w.c.), robust, as the variable `level_scatter_inwc`."""
    _set_scatter(warehouse, "level", "FROM level_distance")


def set_trend_scatter(warehouse: Warehouse) -> None:
    """The fleet's scatter around a trend (in. w.c.), robust, as the variable `trend_scatter_inwc`."""
    _set_scatter(warehouse, "trend", "FROM trend_distance")


def set_scatter_prior(warehouse: Warehouse) -> None:
    """What a level borrows of the fleet's scatter: variables `scatter_prior_df`, `scatter_prior_variance`."""
    _set_prior(
        warehouse,
        "scatter",
        "SELECT scatter_variance, n - 1 AS df FROM level_scatter WHERE n >= 3",
    )


def set_trend_prior(warehouse: Warehouse) -> None:
    """What a trend borrows of the fleet's scatter: variables `trend_prior_df`, `trend_prior_variance`."""
    most_df = warehouse.settings["trend_prior_df_cap"]
    _set_prior(warehouse, "trend", "SELECT scatter_variance, df FROM trend_line WHERE df >= 2", most_df)


def set_cause_variance(warehouse: Warehouse) -> None:
    """How the lead of one cause over another varies from visit to visit (in. w.c. squared): `cause_variance`."""
    variance = warehouse.scalar(
        """
        SELECT coalesce(quantile_cont(variance, 0.5), 4e-4)
        FROM (SELECT n, unnest([variance_1, variance_2]) AS variance FROM cause_lead)
        WHERE n >= getvariable('min_visits')
        """
    )
    warehouse.set_variable("cause_variance", settled(variance), "DOUBLE")


def set_last_site_no(warehouse: Warehouse) -> None:
    """The largest number of a site, as the variable `last_site_no`."""
    last = warehouse.scalar("SELECT coalesce(max(site_no), 0) FROM site_number")
    warehouse.set_variable("last_site_no", last, "BIGINT")


def find_ranks(warehouse: Warehouse) -> None:
    """Make `rank_interval`: how sure each listed unit's place is."""
    listed = warehouse.query(
        "SELECT unit_no, level_inwc, level_se_inwc, level_df, rated_tesp_inwc FROM priority_row"
    )
    warehouse.store("rank_interval", rank_frame(listed), temporary=True)


LOOKED_AT = ("level_centre", "level_distance", "series_test", "trend_start", "trend_distance")
WEIGHED = ("level_scatter", "trend_line", "change_place")

# Few changes between the scopes: a part of the fleet waits for all others at each. What every new day or every false
# discovery rate moves for everybody is a fleet step, and looks at few columns.
STEPS = (
    Step("fleet", set_measurer_sd),
    Step("fleet", "site/correction.sql", ("correction",)),
    Step("fleet", "site/duct_rise.sql", ("duct_rise",)),
    Step("equipment", "site/comparable_visit.sql"),
    Step("equipment", "site/level_visit.sql", ("level_visit",)),
    Step("equipment", "site/level_visit_doubtful.sql"),
    Step("equipment", look_at_visits, LOOKED_AT, ("level_visit",)),
    Step("fleet", set_level_scatter, (), ("level_distance",)),
    Step("fleet", set_trend_scatter, (), ("trend_distance",)),
    Step("equipment", weigh_visits, WEIGHED, ("level_visit", "level_centre", "trend_start")),
    Step("equipment", "site/cause_lead.sql", ("cause_lead",)),
    Step("fleet", set_scatter_prior, (), ("level_scatter",)),
    Step("fleet", set_cause_variance, (), ("cause_lead",)),
    Step("fleet", set_trend_prior, (), ("trend_line",)),
    Step("equipment", "site/unit_seen.sql"),
    Step("equipment", "site/unit_verdict.sql", ("staging.unit_verdict",)),
    Step("equipment", "site/site_static.sql", ("site_static",)),
    Step("equipment", "site/equipment_verdict.sql", ("staging.equipment_verdict", "equipment_static")),
    Step("equipment", "site/site_attention.sql", ("site_attention",)),
    Step("equipment", "site/site_upkeep.sql", ("site_upkeep",)),
    Step("equipment", "site/duct_question.sql"),
    Step("equipment", "site/duct_answer.sql"),
    Step("equipment", "site/site_what_if.sql", ("site_what_if",)),
    Step("equipment", "site/change_point.sql", ("change_point",)),
    Step("equipment", "site/trend_test.sql"),
    Step("equipment", "site/equipment_line.sql", ("equipment_line",)),
    Step("equipment", "site/unit_trend.sql", ("staging.unit_trend",)),
    Step("equipment", "site/unit_restriction.sql", ("staging.unit_restriction",)),
    Step("equipment", "site/priority_evidence.sql"),
    Step("equipment", "site/priority_row.sql", ("priority_row",)),
    Step("fleet", set_last_site_no),
    Step("fleet", "site/branch_static.sql", ("branch_static",)),
    Step("fleet", find_ranks, ("rank_interval",), ("priority_row",)),
    Step("fleet", "site/trend_rate.sql", ("every_rate", "staging.trend_rate")),
    Step("fleet", "site/site_trend.sql", ("site_trend",)),
    Step("fleet", "site/restriction_trend.sql", ("restriction_trend",)),
    Step("fleet", "site/equipment_trend.sql", ("equipment_trend",)),
    Step("fleet", "site/site_priority.sql", ("site_priority",)),
)


def _set_scatter(warehouse: Warehouse, name: str, rows: str) -> None:
    """1.4826 times the median distance is the standard deviation of normal readings; no rows: 0.02, a first guess."""
    scatter = warehouse.scalar(
        f"SELECT coalesce(greatest(1.4826 * quantile_cont(distance_inwc, 0.5), 0.001), 0.02) {rows}"
    )
    warehouse.set_variable(f"{name}_scatter_inwc", settled(scatter), "DOUBLE")


def _set_prior(warehouse: Warehouse, name: str, query: str, most_df: float = LARGEST_DF) -> None:
    """Fit a prior to the variances of `query` (variance, df) into variables <name>_prior_df, <name>_prior_variance."""
    rows = warehouse.query(query)
    variance, df = _floats(rows[rows.columns[0]].to_numpy()), _floats(rows["df"].to_numpy())
    prior_df, prior_variance = fit_prior(variance, df)
    warehouse.set_variable(f"{name}_prior_df", min(settled(prior_df, LOOSELY), most_df), "DOUBLE")
    warehouse.set_variable(f"{name}_prior_variance", settled(prior_variance), "DOUBLE")


def _floats(values: Floats) -> Floats:
    return values.astype(np.float64)

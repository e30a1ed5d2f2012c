"""What is said of units in lists, and of equipment over its modes, against the rows it is made of."""

from __future__ import annotations

import polars as pl
from polars.testing import assert_frame_equal

from tests.conftest import Query

UNIT = ["equipment_id", "mode"]
DIRTY = {
    "filter_dirty": "n_filter_dirty",
    "coil_dirty": "n_coil_dirty",
    "blower_dirty": "n_blower_dirty",
    "registers_closed": "n_registers_closed",
}


def _with_other(units: pl.DataFrame) -> pl.DataFrame:
    """Units, each with what is said of its equipment's other mode."""
    other = {"cooling": "heating", "heating": "cooling"}
    told = units.select(
        "equipment_id", pl.col("mode").alias("other_mode"), pl.exclude(UNIT).name.prefix("other_")
    )
    return units.with_columns(pl.col("mode").replace_strict(other).alias("looked_for")).join(
        told.with_columns(pl.col("other_mode").alias("looked_for")),
        on=["equipment_id", "looked_for"],
        how="left",
    )


def test_the_order_of_work_says_what_is_said_of_either_mode(field: Query) -> None:
    listed = field("FROM site_priority ORDER BY rank")
    units = _with_other(field("FROM site_static")).rename({"other_static_state": "other_state"})
    named = units.join(field("SELECT site_id, site_label FROM site"), on="site_id")
    asked = [c for c in listed.columns if c in named.columns]
    assert {
        "return_level_inwc",
        "last_on",
        "site_label",
        "equipment_kind",
        "other_mode",
        "other_n_visits",
    } < set(asked)
    same = named.join(listed.select(*UNIT, "rank"), on=UNIT).sort("rank").select(asked)
    assert_frame_equal(listed.select(asked), same, check_exact=True)
    assert listed["other_mode"].is_not_null().any()


def test_upkeep_lists_units_over_the_rating_as_found_alone_and_what_was_found(field: Query) -> None:
    listed = field("FROM site_upkeep").sort(UNIT)
    units = field("FROM site_static")
    due = units.filter(
        "in_service",
        pl.col("static_state") == "within_rating",
        pl.col("as_found_level_inwc") > pl.col("rated_tesp_inwc") + 1e-9,
    ).sort(UNIT)
    assert len(listed)
    assert_frame_equal(listed.select(UNIT), due.select(UNIT))
    valid = field("SELECT visit_id, equipment_id, mode FROM visit_static WHERE valid")
    found = valid.join(field("SELECT visit_id, check_id FROM finding"), on="visit_id")
    for check, column in DIRTY.items():
        of_check = found.filter(check_id=check).group_by(UNIT).len("n")
        counted = due.join(of_check, on=UNIT, how="left").sort(UNIT)["n"].fill_null(0)
        assert listed[column].to_list() == counted.to_list()
    assert listed["n_filter_dirty"].sum() > 0


def test_equipment_is_as_bad_as_its_worst_mode(field: Query) -> None:
    order = ["chronic", "uncertain", "upkeep", "within_rating", "too_few_visits"]
    units = field("FROM site_static").with_columns(
        state=pl.when(pl.col("needs_upkeep")).then(pl.lit("upkeep")).otherwise("static_state")
    )
    for row in field("FROM equipment_static").iter_rows(named=True):
        modes = units.filter(equipment_id=row["equipment_id"])
        assert row["worst_state"] == min(modes["state"], key=order.index)
        assert row["n_visits"] == modes["n_visits"].sum()
        assert row["in_service"] == modes["in_service"].all()
        chronic = modes.filter(static_state="chronic")["problem_side"].to_list()
        for side in ("return", "supply", "airflow_setting"):
            assert row[f"chronic_{side}"] == (side in chronic)
    assert field("SELECT count(*) AS n FROM equipment_static")["n"].item() == units["equipment_id"].n_unique()


def test_a_reading_is_what_visit_static_says(field: Query) -> None:
    readings = field("FROM visit_reading ORDER BY visit_id")
    whole = field("FROM visit_static ORDER BY visit_id")
    assert_frame_equal(readings, whole.select(readings.columns), check_exact=True)

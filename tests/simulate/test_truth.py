"""The planted truth obeys the contract's formulas, recomputed here from the drop's own tables."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from tests.simulate.conftest import Made

EXACT = 1e-9


def test_tesp_is_supply_minus_return(made: Made) -> None:
    off = made.visit.select((pl.col("tesp_inwc") - pl.col("supply_inwc") + pl.col("return_inwc")).abs().max())
    assert off.item() < EXACT
    assert made.visit.select(pl.col("return_inwc").max()).item() < 0 < made.visit["supply_inwc"].min()


@pytest.mark.parametrize("table", ["visit", "equipment"])
def test_causes_add_up_to_the_excess(made: Made, table: str) -> None:
    frame = getattr(made, table)
    if table == "visit":
        rated = made.rows("SELECT equipment_id, rated_tesp_inwc FROM equipment")
        frame = frame.join(rated, on="equipment_id")
    total = pl.col("return_restriction_inwc") + pl.col("supply_restriction_inwc")
    total = total + pl.col("airflow_setting_inwc").fill_null(0.0)
    off = frame.select((total - (pl.col("tesp_inwc") - pl.col("rated_tesp_inwc"))).abs().max()).item()
    assert off < EXACT


def test_causes_by_the_contract_in_sql(made: Made) -> None:
    """Section 4 of the contract typed out in SQL, on the true statics and the drop's own equipment table."""
    off = made.rows(
        """
        WITH budget AS (
            SELECT *, CASE WHEN design_return_inwc IS NULL THEN rated_tesp_inwc / 2
                ELSE rated_tesp_inwc * -design_return_inwc / (design_supply_inwc - design_return_inwc) END AS b_return
            FROM equipment
        ), term AS (
            SELECT t.*, b.b_return, b.rated_tesp_inwc - b.b_return AS b_supply,
                pow(t.airflow_cfm / if(t.mode = 'cooling', design_cooling_cfm, design_heating_cfm), 2) AS a,
                b.blower_table_id IS NOT NULL AND b.design_cooling_cfm IS NOT NULL AS known
            FROM truth AS t JOIN budget AS b USING (equipment_id)
        )
        SELECT
            max(abs(return_restriction_inwc - b_return * (-return_inwc / (b_return * a) - 1) * (a + 1) / 2))
                FILTER (known) AS on_return,
            max(abs(supply_restriction_inwc - b_supply * (supply_inwc / (b_supply * a) - 1) * (a + 1) / 2))
                FILTER (known) AS on_supply,
            max(abs(supply_restriction_inwc - (supply_inwc - b_supply))) FILTER (NOT known) AS unknown,
            count(*) FILTER (NOT known AND airflow_setting_inwc IS NOT NULL) AS invented
        FROM term
        """
    )
    assert off["on_return"][0] < EXACT
    assert off["on_supply"][0] < EXACT
    assert off["unknown"][0] < EXACT
    assert off["invented"][0] == 0


def test_airflow_is_what_the_printed_table_gives(made: Made) -> None:
    """Linear in the drop's blower table at the tap, at the static for standard air; like-new visits at high stage."""
    found = made.rows(
        f"""
        WITH bt AS (SELECT * FROM read_csv('{made.folder}/blower_tables.csv')),
        sample AS (
            SELECT t.visit_id, t.airflow_cfm, t.tesp_inwc, e.blower_table_id,
                if(t.mode = 'cooling', e.cooling_tap, e.heating_tap) AS tap
            FROM truth AS t JOIN equipment AS e USING (equipment_id)
            JOIN read_csv('{made.folder}/sites.csv') AS s USING (site_id)
            WHERE t.like_new AND t.segment = 0 AND s.elevation_ft = 0 AND e.blower_table_id IS NOT NULL
        )
        SELECT s.visit_id, s.airflow_cfm, lo.airflow_cfm + (s.tesp_inwc - lo.external_static_inwc)
            * (hi.airflow_cfm - lo.airflow_cfm) / 0.05 AS by_table
        FROM sample AS s
        JOIN bt AS lo ON lo.blower_table_id = s.blower_table_id AND lo.tap = s.tap
            AND lo.external_static_inwc = round(floor(s.tesp_inwc / 0.05) * 0.05, 2)
        JOIN bt AS hi ON hi.blower_table_id = s.blower_table_id AND hi.tap = s.tap
            AND hi.external_static_inwc = round(lo.external_static_inwc + 0.05, 2)
        """
    )
    assert len(found) > 5000
    assert (found["airflow_cfm"] - found["by_table"]).abs().max() < 1e-6


def test_growth_is_the_slope_of_the_like_new_visits(made: Made) -> None:
    growing = made.equipment.filter(
        (pl.col("growing_side") != "none") & (pl.col("mode") == "cooling") & pl.col("last")
    )
    assert len(growing) > 100
    visits = made.visit.filter(pl.col("mode") == "cooling").join(
        growing.select("equipment_id"), on="equipment_id"
    )
    years = pl.col("visited_on").cast(pl.Int32) / 365.25
    slopes = visits.group_by("equipment_id").agg(
        (pl.cov(years, "like_new_tesp_inwc") / years.var()).alias("slope"), pl.len().alias("n")
    )
    both = slopes.filter(pl.col("n") >= 3).join(growing, on="equipment_id")
    assert (both["slope"] - both["growth_inwc_per_year"]).abs().max() < 1e-6
    still = made.equipment.filter(pl.col("growing_side") == "none")
    assert still["growth_inwc_per_year"].abs().max() == 0


def test_level_is_what_the_visits_of_the_segment_have(made: Made) -> None:
    steady = made.equipment.filter((pl.col("growing_side") == "none") & (pl.col("n_like_new") > 0))
    assert (steady["mean_tesp_inwc"] - steady["tesp_inwc"]).abs().max() < EXACT


def test_side_and_chronic_follow_from_the_numbers(made: Made) -> None:
    e = made.equipment
    names = ["return_restriction_inwc", "supply_restriction_inwc", "airflow_setting_inwc"]
    table = e.select(names).fill_null(-np.inf).to_numpy()
    over = (e["excess_inwc"] > 0).to_numpy()
    side = np.array(["return", "supply", "airflow_setting"])[table.argmax(axis=1)]
    assert e["problem_side"].to_list() == [s if o else None for s, o in zip(side, over, strict=True)]
    rule = (pl.col("excess_inwc") > 0) & (pl.col("n_like_new") >= 3) & (pl.col("span_days") >= 90)
    assert e.filter(rule)["true_chronic"].all()
    assert not e.filter(~rule)["true_chronic"].any()
    assert 0.08 < e.filter(pl.col("mode") == "cooling")["true_chronic"].mean() < 0.3


def test_planned_causes_come_true(made: Made) -> None:
    cooling = made.equipment.filter((pl.col("mode") == "cooling") & (pl.col("segment") == 0))
    for cause in ("return", "supply", "airflow_setting"):
        planned = cooling.filter((pl.col("planned_cause") == cause) & pl.col("airflow_ratio").is_not_null())
        assert (planned["problem_side"] == cause).mean() > 0.95


def test_unrecorded_work_is_in_the_truth_alone(made: Made) -> None:
    written = pl.read_csv(made.folder / "work.csv")["work_id"]
    unsaid = made.work.filter(~pl.col("recorded"))
    assert len(unsaid) > 50
    assert unsaid["starts_segment"].all()
    assert not unsaid["work_id"].is_in(written.to_list()).any()
    assert sorted(written) == sorted(made.work.filter("recorded")["work_id"])


def test_work_shift_is_the_difference_of_its_segments(made: Made) -> None:
    levels = made.equipment.filter(pl.col("mode") == "cooling").pivot(
        "segment", index="equipment_id", values="tesp_inwc"
    )
    both = made.work.filter(pl.col("starts_segment")).join(levels, on="equipment_id").drop_nulls("1")
    assert len(both) > 1000
    assert (both["1"] - both["0"] - both["shift_cooling_inwc"]).abs().max() < EXACT
    assert both.filter("sham")["shift_cooling_inwc"].abs().max() == 0
    enlarged = both.filter(pl.col("work_kind") == "return_enlarged")
    assert enlarged["shift_cooling_inwc"].max() < 0

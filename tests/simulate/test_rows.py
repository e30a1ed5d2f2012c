"""The written rows: contract columns, references, and each slip as the row shows it."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.load.inputs import BY_NAME
from tests.simulate.conftest import Made


@pytest.mark.parametrize(
    "table", ["sites", "equipment", "blower_tables", "technicians", "instruments", "work"]
)
def test_small_tables_have_the_contracts_columns_and_types(made: Made, table: str) -> None:
    found = made.con.sql(
        f"DESCRIBE SELECT * FROM read_csv('{made.folder}/{table}.csv', sample_size = -1)"
    ).fetchall()
    expected = [c for c in BY_NAME[table].columns if c.name != "recorded_at"]
    assert [row[0] for row in found] == [c.name for c in expected]
    kinds = {c.name: c.kind for c in expected}
    for name, sql_type, *_ in found:
        if kinds[name] == "number":
            assert sql_type in ("DOUBLE", "BIGINT"), name
        if kinds[name] == "flag":
            assert sql_type == "BOOLEAN", name


def test_visit_files_have_the_contracts_columns(made: Made) -> None:
    files = sorted(made.folder.glob("visits_*.csv"))
    assert [f.name for f in files][-1] == "visits_part4_corrections.csv"
    expected = [c.name for c in BY_NAME["visits"].columns if c.name != "recorded_at"]
    for file in files:
        assert pl.read_csv(file, infer_schema=False, n_rows=5).columns == expected


def test_every_row_has_its_truth_and_what_it_refers_to(made: Made) -> None:
    counts = made.rows(
        """
        SELECT count(*) AS n, count(t.visit_id) AS with_truth,
            count(*) FILTER (e.equipment_id IS NULL AND slip <> 'equipment_unknown') AS lost,
            count(*) FILTER (e.site_id <> v.site_id) AS elsewhere,
            count(DISTINCT v.technician_id) AS people
        FROM visits AS v LEFT JOIN truth AS t USING (visit_id) LEFT JOIN equipment AS e
            ON e.equipment_id = v.equipment_id
        """
    ).row(0, named=True)
    assert counts == {"n": 60_000, "with_truth": 60_000, "lost": 0, "elsewhere": 0, "people": 60}


SHOWS = {
    "return_sign_wrong": "r > 0 AND s > 0",
    "supply_sign_wrong": "r < 0 AND s < 0",
    "ports_swapped": "r > 0 AND s < 0",
    "reading_near_zero": "abs(r) < 0.02 * f AND abs(s) < 0.02 * f",
    "unit_mismatch": "greatest(abs(r), abs(s)) > 2.5 * f OR greatest(abs(r), abs(s)) < 0.03 * f",
    "zero_offset_large": "greatest(abs(zero_return::DOUBLE), abs(zero_supply::DOUBLE)) > 0.02 * f",
    "zero_after_reading": "zeroed_at::TIMESTAMPTZ > visited_at::TIMESTAMPTZ",
    "visit_in_future": "visited_at::TIMESTAMPTZ > TIMESTAMPTZ '2028-01-01 00:00:00+00'",
    "visit_before_install": "visited_at::DATE < installed_on",
    "return_port_wrong": "(return_port = 'before_filter') <> filter_in_rating",
    "supply_port_wrong": "(supply_port = 'after_coil') <> coil_in_rating",
    "component_drop_impossible": "filter_drop::DOUBLE < 0 OR filter_drop::DOUBLE > abs(r)",
    "tesp_sum_mismatch": "abs(reported_tesp::DOUBLE - (s - r)) > greatest(0.02 * f, 0.05 * (s - r))",
    "bad_number": "supply_static = '0.5o'",
    "equipment_unknown": "known_id IS NULL",
}


@pytest.mark.parametrize("slip", SHOWS)
def test_a_slip_shows_in_its_rows_and_hardly_in_others(made: Made, slip: str) -> None:
    counts = made.rows(
        f"""
        WITH row_of AS (
            SELECT v.*, t.slip, t.sound, e.equipment_id AS known_id, e.installed_on, e.filter_in_rating,
                e.coil_in_rating, TRY_CAST(v.return_static AS DOUBLE) AS r, TRY_CAST(v.supply_static AS DOUBLE) AS s,
                CASE v.pressure_unit WHEN 'pa' THEN 249.08891 WHEN 'mmwc' THEN 25.4 ELSE 1 END AS f
            FROM visits AS v JOIN (SELECT visit_id, slip, sound FROM truth) AS t USING (visit_id)
            LEFT JOIN equipment AS e ON e.equipment_id = v.equipment_id
        ), shown AS (SELECT slip, sound, coalesce({SHOWS[slip]},
            false) AS shows FROM row_of)
        SELECT count(*) FILTER (slip = '{slip}') AS planted, count(*) FILTER (slip = '{slip}' AND shows) AS shown,
            count(*) FILTER (sound AND shows) AS false_alarms, count(*) FILTER (sound) AS sound FROM shown
        """
    ).row(0, named=True)
    assert counts["planted"] >= 30
    assert counts["shown"] >= 0.98 * counts["planted"]
    assert counts["false_alarms"] <= 0.001 * counts["sound"]


def test_sound_readings_are_the_truth_within_what_a_gauge_can_do(made: Made) -> None:
    """Readings minus their zeros against the true statics, where nothing but noise is between them."""
    off = made.rows(
        """
        SELECT quantile_cont(abs(x), 0.5) AS median, quantile_cont(abs(x), 0.99) AS rare, avg(x) AS bias FROM (
            SELECT supply_static::DOUBLE - coalesce(zero_supply::DOUBLE, 0)
                - (return_static::DOUBLE - coalesce(zero_return::DOUBLE, 0)) - t.tesp_inwc AS x
            FROM visits AS v JOIN truth AS t USING (visit_id)
            WHERE t.sound AND coalesce(pressure_unit, 'inwc') = 'inwc' AND supply_location = 'straight_run'
                AND return_location = 'straight_run' AND probe_kind = 'static_tip'
                AND v.technician_id IN (SELECT technician_id FROM people WHERE kind <> 'rounder')
                AND v.instrument_id NOT IN (SELECT instrument_id FROM gauges WHERE drift_per_year > 0)
        )
        """
    ).row(0, named=True)
    # normal noise of 0.012: median 0.008, one in a hundred beyond 0.031; gains of 1 % and the site's scatter widen it
    assert 0.007 < off["median"] < 0.010
    assert off["rare"] < 0.045
    assert abs(off["bias"]) < 0.0005


def test_repeated_readings_equal_the_previous_visit_elsewhere(made: Made) -> None:
    copies = made.rows(
        """
        WITH ordered AS (
            SELECT v.*, slip, lag(v.visit_id) OVER w AS before_id, lag(return_static) OVER w AS r0,
                lag(supply_static) OVER w AS s0, lag(site_id) OVER w AS site0
            FROM visits AS v JOIN truth USING (visit_id) WINDOW w AS (PARTITION BY v.technician_id ORDER BY visit_id)
        )
        SELECT count(*) AS n, count(*) FILTER (return_static = r0 AND supply_static = s0 AND site_id <> site0) AS same
        FROM ordered WHERE slip = 'readings_repeated'
        """
    ).row(0, named=True)
    assert copies["n"] > 40
    # a second unit at the same site is no other site
    assert copies["same"] >= 0.98 * copies["n"]


def test_the_clock_of_a_technician(made: Made) -> None:
    """Sound zeros lie after the technician's previous visit of the day and within four hours of the reading."""
    wrong = made.rows(
        """
        WITH timed AS (
            SELECT visit_id, sound, v.technician_id, visited_at::TIMESTAMPTZ AS seen, zeroed_at::TIMESTAMPTZ AS zeroed,
                max(visited_at::TIMESTAMPTZ) OVER (PARTITION BY v.technician_id, visited_at[:10] ORDER BY
                    visited_at::TIMESTAMPTZ ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS before
            FROM visits AS v JOIN truth USING (visit_id) WHERE slip NOT IN ('visit_in_future', 'visit_before_install')
        )
        SELECT count(*) FILTER (zeroed > seen) AS late, count(*) FILTER (zeroed < before) AS stale,
            count(*) FILTER (seen - zeroed > INTERVAL 4 HOUR) AS old, count(before) AS with_previous
        FROM timed WHERE sound
        """
    ).row(0, named=True)
    assert wrong["late"] == wrong["stale"] == wrong["old"] == 0
    assert wrong["with_previous"] > 1000


def test_offsets_follow_daylight_saving(made: Made) -> None:
    found = made.rows(
        "SELECT DISTINCT visited_at[6:7]::INT AS month, visited_at[20:] AS utc_offset FROM visits"
    )
    by_month = {m: set(found.filter(pl.col("month") == m)["utc_offset"]) for m in (1, 7)}
    assert by_month == {1: {"-06:00"}, 7: {"-05:00"}}

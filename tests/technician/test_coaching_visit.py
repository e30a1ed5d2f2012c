"""The visits behind the coaching findings: complete, of people with enough visits, and beside what others read."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from tests.conftest import Query, query_of


@pytest.fixture(scope="module")
def ask(small_file: Path) -> Query:
    return query_of(small_file)


def test_every_visit_of_a_practice_above_the_fleet_is_there(ask: Query) -> None:
    named = ask(
        "SELECT technician_id, check_id, n_found FROM practice_rate WHERE practice_state = 'above_fleet'"
    )
    assert named.height > 0
    shown = (
        ask("SELECT * FROM coaching_visit")
        .group_by("technician_id", pl.col("finding").alias("check_id"))
        .agg(pl.col("visit_id").n_unique().alias("n_shown"), pl.len().alias("n_rows"))
    )
    both = named.join(shown, on=["technician_id", "check_id"], how="left")
    assert (both["n_found"] == both["n_shown"]).all()
    assert (both["n_rows"] == both["n_shown"]).all()


def test_skippers_are_there_with_their_visits(ask: Query) -> None:
    skippers = ask("SELECT technician_id FROM technician_zeroing WHERE zeroing_state = 'skips_zero'")
    shown = ask("SELECT DISTINCT technician_id FROM coaching_visit WHERE finding = 'zero_not_recorded'")
    assert skippers.height > 0
    assert set(skippers["technician_id"]) <= set(shown["technician_id"])


def test_nobody_is_named_on_few_visits_or_without_a_finding(ask: Query) -> None:
    named = ask(
        "SELECT DISTINCT c.technician_id, z.n_visits, z.zeroing_state, z.offset_doubtful, "
        "EXISTS (FROM practice_rate p WHERE p.technician_id = c.technician_id "
        "AND p.practice_state = 'above_fleet') AS above FROM coaching_visit c "
        "LEFT JOIN technician_zeroing z USING (technician_id)"
    )
    assert (named["n_visits"] >= 20).all()
    reason = (pl.col("zeroing_state") == "skips_zero") | pl.col("offset_doubtful") | pl.col("above")
    assert named.select(reason.all()).item()


def test_a_doubtful_zero_stands_beside_what_others_read(ask: Query) -> None:
    """Computed again in Polars from the published visits: median of the others at the unit, mode and segment."""
    readings = ask(
        "SELECT v.* EXCLUDE (visited_at), s.segment FROM visit_static v JOIN visit_segment s USING (visit_id) "
        "WHERE v.like_new AND v.sides_known AND NOT s.on_work_day"
    )
    shown = ask("SELECT * FROM coaching_visit WHERE finding LIKE 'hidden_offset_%'")
    assert shown.height > 0
    place = ["equipment_id", "mode", "segment"]
    for row in shown.sample(40, seed=1).iter_rows(named=True):
        port = row["finding"].removeprefix("hidden_offset_")
        own = readings.filter(pl.col("visit_id") == row["visit_id"])
        others = readings.join(own.select(place), on=place).filter(
            pl.col("technician_id") != row["technician_id"]
        )
        assert row["look_at"].startswith(f"{port} {own[f'{port}_inwc'].item():.3f} in. w.c.")
        if others.height:
            median = others[f"{port}_inwc"].median()
            assert f"median {median:.3f} of {others.height};" in row["look_at"]
        else:
            assert "nobody else read" in row["look_at"]

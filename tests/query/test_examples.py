"""Every example runs on every publication, says what it asks, and answers what a second computation answers."""

from __future__ import annotations

import inspect
import shutil
from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from pipeline.query import Door
from pipeline.query.words import Example, examples
from tests.conftest import run_stages
from tests.query import example_answers

EDGE = Path(__file__).resolve().parents[2] / "seed_data" / "edge"
NAMES = [e.name for e in examples()]
ANSWERS = {
    name: function
    for name, function in inspect.getmembers(example_answers, inspect.isfunction)
    if not name.startswith("_") and function.__module__ == example_answers.__name__
}


def _example(name: str) -> Example:
    return next(e for e in examples() if e.name == name)


def _ask(published: Path, name: str) -> pl.DataFrame:
    with Door(published) as door:
        rows = door.ask(_example(name).sql)
        frames = [pl.from_arrow(part) for part in rows.parts] or [pl.from_arrow(rows.schema.empty_table())]
    return pl.concat([frame for frame in frames if isinstance(frame, pl.DataFrame)])


def test_there_are_enough_of_them_and_most_are_computed_twice() -> None:
    assert len(NAMES) >= 25
    assert set(ANSWERS) <= set(NAMES)
    assert len(ANSWERS) >= len(NAMES) / 2


@pytest.mark.parametrize("name", NAMES)
def test_an_example_begins_with_its_question(name: str) -> None:
    example = _example(name)
    wanted = (
        f"sql/examples/{name}.sql begins with its question, a comment such as: -- Which units are chronic?"
    )
    assert "?" in example.question, wanted
    assert example.question[0].isupper(), wanted
    assert example.sql.startswith("-- ")


def test_an_example_that_counts_by_technician_names_nobody_on_little_data() -> None:
    people = [e for e in examples() if "GROUP BY technician_id" in e.sql]
    assert len(people) >= 2
    for example in people:
        assert ">= 20" in example.sql, example.name
        assert "wilson_lo(" in example.sql, example.name
        assert "never proof of fault" in " ".join(example.sql.replace("--", "").split()), example.name


@pytest.mark.parametrize("name", sorted(ANSWERS))
@pytest.mark.parametrize("fleet", ["demo_file", "small_file"])
def test_an_answer_is_right(request: pytest.FixtureRequest, fleet: str, name: str) -> None:
    published: Path = request.getfixturevalue(fleet)
    with duckdb.connect(str(published), read_only=True) as con:
        con.execute("SET TimeZone = 'UTC'")
        expected = ANSWERS[name](lambda table: con.sql(f'FROM "{table}"').pl())
    found = _ask(published, name)
    assert fleet != "demo_file" or found.height > 0
    assert_frame_equal(found, expected.select(found.columns), check_dtypes=False, abs_tol=1e-9, rel_tol=1e-9)


@pytest.fixture(scope="session")
def edges(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Publications with hardly anything in them."""
    without = ("gate", "contracts", "report")
    return {
        name: run_stages([EDGE / name], tmp_path_factory.mktemp(name), date(2026, 11, 20), without=without)
        for name in ("no_visits", "one_visit")
    }


@pytest.mark.parametrize("name", NAMES)
def test_an_example_runs_where_there_is_hardly_anything(edges: dict[str, Path], name: str) -> None:
    for published in edges.values():
        assert _ask(published, name).width > 0


@pytest.mark.parametrize("name", ["crossing_soon", "nearly_chronic", "upkeep_not_ducts", "worst_ten"])
def test_a_retired_unit_leaves_the_lists_of_work(demo_file: Path, tmp_path: Path, name: str) -> None:
    """Retired equipment keeps its history and leaves the lists (data contract, section 4)."""
    published = tmp_path / "fleet.duckdb"
    shutil.copy(demo_file, published)
    with duckdb.connect(str(published)) as con:  # the demo's rising units are over their rating already
        con.execute(
            "UPDATE site_trend SET trend = 'rising', rated_crossing_on = (SELECT today + 100 FROM publication) "
            "WHERE (equipment_id, mode) IN (SELECT (equipment_id, mode) FROM site_static WHERE in_service LIMIT 3)"
        )
    listed = _ask(published, name)["equipment_id"]
    assert len(listed) > 0
    with duckdb.connect(str(published)) as con:
        con.execute("UPDATE site_static SET in_service = FALSE WHERE equipment_id = ?", [listed[0]])
        con.execute("DELETE FROM site_priority WHERE equipment_id = ?", [listed[0]])
    left = _ask(published, name)["equipment_id"]
    assert listed[0] not in left.to_list()
    assert set(listed) - set(left) == {listed[0]}


# The story of the demo fleet (seed_data/README.md): what was planted is what the examples show.


def test_the_worst_are_the_planted_ones(demo_file: Path) -> None:
    rows = _ask(demo_file, "worst_ten")
    assert rows["rank"].to_list() == list(range(1, 11))
    assert rows["expected_excess_inwc"].is_sorted(descending=True)
    assert rows.head(5)["equipment_id"].to_list() == ["E01", "E07", "E02", "E08", "E03"]
    assert rows.head(5)["problem_side"].to_list() == ["return", "supply", "return", "supply", "return"]
    assert all(text.strip() for text in rows["check_first"])


def test_the_loaded_filter_needs_upkeep_not_ducts(demo_file: Path) -> None:
    rows = _ask(demo_file, "upkeep_not_ducts")
    assert rows["equipment_id"].to_list() == ["E16"]
    assert rows["as_found_level_inwc"][0] > rows["rated_tesp_inwc"][0] > rows["level_inwc"][0]


def test_the_unit_at_its_rating_is_nearly_chronic(demo_file: Path) -> None:
    rows = _ask(demo_file, "nearly_chronic")
    assert "E30" in rows["equipment_id"].to_list()
    assert rows["prob_over_rated"].is_between(0.05, 0.95).all()
    assert rows["prob_over_rated"].is_sorted(descending=True)


def test_enlarged_returns_helped_and_restrapping_did_not(demo_file: Path) -> None:
    verdict = dict(_ask(demo_file, "work_that_helps").select("work_kind", "verdict").iter_rows())
    assert verdict["return_enlarged"] == "lowers the static"
    assert verdict["duct_restrapped"] == "no change to be seen"


def test_those_who_skip_zeroing_have_most_set_aside(demo_file: Path) -> None:
    rows = _ask(demo_file, "set_aside_by_technician")
    assert set(rows["technician_id"].to_list()[:2]) == {"T03", "T05"}
    assert "T12" not in rows["technician_id"].to_list()  # too few visits to be named


def test_the_modes_of_restricted_returns_disagree(demo_file: Path) -> None:
    rows = _ask(demo_file, "modes_that_disagree")
    assert set(rows["cooling_state"]) == {"chronic"}
    gap = (rows["cooling_level_inwc"] - rows["heating_level_inwc"]).abs()
    assert gap.is_sorted(descending=True)


def test_the_tap_found_is_the_one_that_was_lowered(demo_file: Path) -> None:
    assert set(_ask(demo_file, "taps_off_design")["equipment_id"]) == {"E29"}


def test_the_story_of_the_worst_tells_every_visit(demo_file: Path) -> None:
    with duckdb.connect(str(demo_file), read_only=True) as con:
        (visits,) = con.sql("SELECT count(*) FROM visit WHERE equipment_id = 'E01'").fetchall()[0]
    rows = _ask(demo_file, "story_of_the_worst")
    assert rows.height == visits
    assert rows["visited_on"].is_sorted()
    assert (rows["valid"] == rows["set_aside_because"].is_null()).all()


def test_rejects_are_counted_by_file(demo_file: Path) -> None:
    rows = _ask(demo_file, "files_with_most_rejects")
    assert rows["rows_rejected"].sum() == 6
    assert rows["share"].to_list() == (rows["rows_rejected"] / rows["rows_read"]).to_list()


def test_what_crosses_soon_is_rising_and_ahead(demo_file: Path, small_file: Path) -> None:
    for published in (demo_file, small_file):
        rows = _ask(published, "crossing_soon")
        assert (rows["slope_inwc_per_year"] > 0).all()
        assert (rows["level_inwc"] < rows["rated_tesp_inwc"]).all()
        assert rows["rated_crossing_on"].is_sorted()

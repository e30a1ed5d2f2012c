"""Offsets of a large fleet rest on closed months: a day of the open month leaves their fits alone."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import polars as pl
import pytest

from tests.conftest import NIGHTLY, query_of
from tests.day.test_day import SETTINGS as OF_DAYS
from tests.day.test_day import WHOLE, Fleet, is_part, run, wide_steps
from tests.day.test_day import made as made_without
from tests.test_determinism import assert_same

SETTINGS = OF_DAYS.with_values({"offsets_close_from_visits": 1000}, "the test")
TODAY = date(2026, 10, 20)
NONE = pl.lit(None, pl.String)

__all__ = ["made_without", "wide_steps"]  # fixtures


@pytest.fixture(scope="module")
def made(
    made_without: tuple[Path, Path, Fleet], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Path, Fleet]:
    """As there, run with offsets that rest on the months before October."""
    history, _, fleet = made_without
    into = tmp_path_factory.mktemp("closing") / "into"
    run([history], into, TODAY, SETTINGS)
    return history, into, fleet


def in_october(fleet: Fleet) -> dict[str, pl.DataFrame]:
    october = pl.format("2026-10-{}T10:00:00-06:00", (pl.int_range(pl.len()) % 17 + 1).cast(str).str.zfill(2))
    return {"visits": fleet.new_visits.with_columns(visited_at=october, zeroed_at=NONE)}


def in_august(fleet: Fleet) -> dict[str, pl.DataFrame]:
    late = fleet.new_visits[:8].with_columns(visited_at=pl.lit("2026-08-03T10:00:00-06:00"), zeroed_at=NONE)
    return {"visits": pl.concat([late, in_october(fleet)["visits"][8:]])}


def corrected(fleet: Fleet) -> dict[str, pl.DataFrame]:
    return {"visits": fleet.tables["visits"][100:103].with_columns(supply_static=pl.lit("0.777"))}


def gauge_calibrated(fleet: Fleet) -> dict[str, pl.DataFrame]:
    return {"instruments": fleet.tables["instruments"][1:2].with_columns(calibrated_on=pl.lit("2025-05-05"))}


def unit_at_another_site(fleet: Fleet) -> dict[str, pl.DataFrame]:
    """With all its visits, from one that was read by the same technicians' gauges as before."""
    known = fleet.tables["visits"].join(fleet.tables["equipment"], on="equipment_id", how="semi")
    unit = known["equipment_id"].value_counts(sort=True)["equipment_id"][0]
    other = pl.lit(fleet.tables["sites"]["site_id"][0])
    return {
        name: fleet.tables[name].filter(pl.col("equipment_id") == unit).with_columns(site_id=other)
        for name in ("equipment", "visits")
    }


def fitted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many readings each later fit looks at."""
    from pipeline.technician import stage

    seen: list[int] = []

    def fit(readings: stage.Readings, *rest: object) -> object:
        seen.append(readings.rows.height)
        return fit_readings(readings, *rest)  # type: ignore[arg-type]

    fit_readings = stage.fit_readings
    monkeypatch.setattr(stage, "fit_readings", fit)
    return seen


@pytest.mark.parametrize(
    ("day", "stands"),
    [
        (in_october, True),
        (in_august, False),
        (unit_at_another_site, False),
        *([(corrected, False), (gauge_calibrated, False)] if NIGHTLY else []),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_fits_stand_where_no_closed_reading_moved(
    made: tuple[Path, Path, Fleet],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    day: Callable[[Fleet], dict[str, pl.DataFrame]],
    stands: bool,
) -> None:
    history, into, fleet = made
    shutil.copytree(into, tmp_path / "into")
    drop = Fleet({}, fleet.new_visits, day(fleet)).write_day(tmp_path / "day")
    seen = fitted(monkeypatch)
    said = run([drop], tmp_path / "into", TODAY, SETTINGS)
    assert (not seen) == stands
    assert is_part(said) or any("sites are judged anew" in line for line in said)
    run([history, drop], tmp_path / "whole", TODAY, SETTINGS, WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def test_the_first_day_of_a_month_closes_the_one_before(
    made: tuple[Path, Path, Fleet], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Days in a row: one that leaves the fits, one of the new month, one more that leaves them."""
    history, into, fleet = made
    shutil.copytree(into, tmp_path / "into")
    seen = fitted(monkeypatch)
    drops, rows = [], in_october(fleet)["visits"]
    for number, today in enumerate([TODAY + timedelta(1), date(2026, 11, 2), date(2026, 11, 3)]):
        drops.append(Fleet({}, rows, {"visits": rows[number::3]}).write_day(tmp_path / f"day{number}"))
        if number == 2:  # October's visits came in time
            drops[-1].joinpath("visits_zz_day.csv").write_text(
                rows[2::3].with_columns(visited_at=pl.lit("2026-11-02T10:00:00-06:00")).write_csv()
            )
        run(drops[-1:], tmp_path / "into", today, SETTINGS)
        assert len(seen) == (0, 1, 1)[number]
    before = query_of(tmp_path / "into" / "fleet.duckdb")("SELECT offsets_before FROM publication")
    assert before["offsets_before"].to_list() == [date(2026, 11, 1)]
    run([history, *drops], tmp_path / "whole", date(2026, 11, 3), SETTINGS, WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def test_visits_of_the_open_month_move_no_offset(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    """Whoever reads a whole inch too much this month is told so next month; a small fleet looks at every visit."""
    history, into, fleet = made
    rows = in_october(fleet)["visits"].with_columns(supply_static=pl.lit("1.4"))
    drop = Fleet({}, rows, {"visits": rows}).write_day(tmp_path / "day")
    ask = "SELECT * FROM instrument_offset"
    run([history, drop], tmp_path / "closing", TODAY, SETTINGS, WHOLE)
    told, before = query_of(tmp_path / "closing" / "fleet.duckdb"), query_of(into / "fleet.duckdb")
    assert told(ask).equals(before(ask))
    run([history, drop], tmp_path / "at_once", TODAY, OF_DAYS, WHOLE)
    at_once = query_of(tmp_path / "at_once" / "fleet.duckdb")
    assert not at_once(ask).equals(before(ask))
    assert at_once("SELECT offsets_before FROM publication")["offsets_before"].to_list() == [None]
    closed = """
        SELECT count(*)::BIGINT AS n FROM visit_static
        WHERE like_new AND sides_known AND visited_on < DATE '2026-10-01'
        AND (equipment_id, visited_on) NOT IN (SELECT (equipment_id, done_on) FROM work)
    """
    assert (
        told(closed)["n"][0] >= told("SELECT sum(n_visits)::BIGINT AS n FROM instrument_offset")["n"][0] > 0
    )

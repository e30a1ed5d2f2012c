"""A day's drop on a history: the publication is that of a run over everything, whatever the day brings.

Planted days: each changes something else, and each is compared with a run from nothing over the same files.
"""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.change import make_site_change
from pipeline.day import day_stages, last_run
from pipeline.day.stages import KEPT
from pipeline.errors import FleetStaticError
from pipeline.load import open_work_file
from pipeline.moderation import settled
from pipeline.settings import Settings
from pipeline.simulate import make_fleet_command
from pipeline.stages import STAGES, RunOrder, Stage
from pipeline.warehouse import Warehouse
from tests.conftest import NIGHTLY, query_of
from tests.test_determinism import assert_same

TODAY = date(2026, 11, 1)
SETTINGS = Settings().with_values(
    {"day_from_visits": 1000, "day_most_touched": 0.9, "look_again_visits": 1000}, "the test"
)
NEW_VISITS = 15


@dataclass
class Fleet:
    """The input tables as texts; `day` is what a test puts into the day's drop."""

    tables: dict[str, pl.DataFrame]
    new_visits: pl.DataFrame
    day: dict[str, pl.DataFrame] = field(default_factory=dict)

    def write_day(self, folder: Path) -> Path:
        folder.mkdir()
        for name, frame in self.day.items():
            frame.write_csv(folder / f"{name}_zz_day.csv")
        return folder


def run(
    drops: list[Path],
    into: Path,
    today: date = TODAY,
    settings: Settings = SETTINGS,
    stages: list[tuple[str, Stage]] | None = None,
) -> list[str]:
    """All stages but the report; what the run said."""
    said: list[str] = []
    into.mkdir(exist_ok=True)
    order = RunOrder(tuple(drops), into, today, settings=settings, say=said.append)
    with open_work_file(order.work_file, order.settings, said.append) as warehouse:
        for name, stage in stages or day_stages():
            if name != "report":
                stage(warehouse, order)
        assert not [name for name in warehouse.relations() if name.startswith("changed.")]
    return said


# A run over everything, to compare with.
WHOLE = [(name, stage) for name, stage in STAGES if name not in ("gate", "contracts")]


@pytest.fixture(scope="module", autouse=True)
def wide_steps() -> Iterator[None]:
    """What is fitted over so small a fleet moves with every day; to the nearest power of 3 it mostly stands."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipeline.site.stage.settled", lambda value, *_: settled(value, 2.0))
        yield


@pytest.fixture(scope="module")
def made(wide_steps: None, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Fleet]:
    """The history's folder, a DIR in which it was run, and its tables; the last visits are kept for the day."""
    folder = tmp_path_factory.mktemp("fleet")
    make_fleet_command(folder / "made", 500, 5000, 4)
    tables: dict[str, list[pl.DataFrame]] = {}
    for file in sorted((folder / "made").glob("*.csv")):
        name = next(n for n in NAMES if file.name.startswith(n))
        tables.setdefault(name, []).append(pl.read_csv(file, infer_schema=False))
    whole = {name: pl.concat(frames) for name, frames in tables.items()}
    visits = whole["visits"].sort("visited_at")
    whole["visits"] = visits[:-NEW_VISITS]
    history = folder / "history"
    history.mkdir()
    for name, frame in whole.items():
        frame.write_csv(history / f"{name}.csv")
    run([history], folder / "into")
    return history, folder / "into", Fleet(whole, visits[-NEW_VISITS:])


@pytest.fixture(scope="module")
def with_new_visits(made: tuple[Path, Path, Fleet], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a run over everything publishes of the history and a day of new visits."""
    history, _, fleet = made
    folder = tmp_path_factory.mktemp("whole")
    day = Fleet(fleet.tables, fleet.new_visits)
    new_visits(day)
    run([history, day.write_day(folder / "day0")], folder / "whole", stages=WHOLE)
    return folder / "whole" / "fleet.duckdb"


NAMES = ("sites", "equipment", "blower_tables", "technicians", "instruments", "visits", "work")


def nothing(fleet: Fleet) -> None:
    fleet.day = {"visits": fleet.new_visits[:0]}


def new_visits(fleet: Fleet) -> None:
    fleet.day = {"visits": fleet.new_visits}


def visit_corrected(fleet: Fleet) -> None:
    fleet.day = {"visits": fleet.tables["visits"][100:103].with_columns(supply_static=pl.lit("0.777"))}


def visit_of_other_equipment(fleet: Fleet) -> None:
    """Written down for the wrong unit: one loses a visit, the other gains it."""
    other = fleet.tables["visits"].row(2500, named=True)
    fleet.day = {
        "visits": fleet.tables["visits"][200:201].with_columns(
            site_id=pl.lit(other["site_id"]), equipment_id=pl.lit(other["equipment_id"])
        )
    }


def visit_no_longer_known(fleet: Fleet) -> None:
    """Corrected to equipment that does not exist, among others that are only said again."""
    changed = pl.int_range(pl.len()) == 11
    fleet.day = {
        "visits": fleet.tables["visits"][300:340].with_columns(
            equipment_id=pl.when(changed).then(pl.lit("E-none")).otherwise("equipment_id")
        )
    }


def site_moved_up(fleet: Fleet) -> None:
    fleet.day = {"sites": fleet.tables["sites"][7:9].with_columns(elevation_ft=pl.lit("6000"))}


def all_equipment_again_one_changed(fleet: Fleet) -> None:
    changed = pl.int_range(pl.len()) == 11
    fleet.day = {
        "equipment": fleet.tables["equipment"].with_columns(
            rated_tesp_inwc=pl.when(changed).then(pl.lit("0.4")).otherwise("rated_tesp_inwc")
        )
    }


def new_equipment_first_by_name(fleet: Fleet) -> None:
    """Every number behind it moves."""
    old_site, old_unit = fleet.tables["sites"][0:1], fleet.tables["equipment"][0:1]
    new = {"site_id": pl.lit("A-new"), "equipment_id": pl.lit("A-unit")}
    fleet.day = {
        "sites": old_site.with_columns(site_id=new["site_id"]),
        "equipment": old_unit.with_columns(**new),
        "visits": fleet.new_visits.with_columns(**new),
    }


def fan_table_changed(fleet: Fleet) -> None:
    table = fleet.tables["blower_tables"]
    first = table.filter(pl.col("blower_table_id") == table["blower_table_id"][0])
    fleet.day = {
        "blower_tables": first.with_columns(airflow_cfm=(pl.col("airflow_cfm").cast(float) * 1.1).cast(str))
    }


def gauge_is_coarser(fleet: Fleet) -> None:
    fleet.day = {
        "instruments": fleet.tables["instruments"][1:2].with_columns(accuracy_pct_of_reading=pl.lit("3"))
    }


def work_done(fleet: Fleet) -> None:
    work = fleet.tables["work"][0:3]
    fleet.day = {
        "work": work.with_columns(
            work_id=pl.format("{}-new", "work_id"),
            equipment_id=fleet.tables["equipment"]["equipment_id"][20:23],
            done_on=pl.lit("2025-06-01"),
            work_kind=pl.lit("return_enlarged"),
        )
    }


def zero_just_before(fleet: Fleet) -> None:
    """A visit with the same technician between two others: what is said of their zeroes may change."""
    old = fleet.tables["visits"][3000:3004]
    fleet.day = {"visits": old.with_columns(visit_id=pl.format("{}-again", "visit_id"))}


def visits_by_somebody_else(fleet: Fleet) -> None:
    """Two visits were another technician's, a month earlier, and not zeroed; a third was zeroed after all."""
    visits = fleet.tables["visits"]
    others = visits["technician_id"].filter(visits["technician_id"] != visits["technician_id"][400])
    none = pl.lit(None, pl.String)
    skipped = visits.filter(pl.col("zeroed_at").is_null() & pl.col("zero_return").is_null())[:1]
    fleet.day = {
        "visits": pl.concat(
            [
                visits[400:402].with_columns(
                    technician_id=pl.lit(others[0]),
                    visited_at=pl.lit("2025-05-05T10:00:00-06:00"),
                    zeroed_at=none,
                    zero_return=none,
                    zero_supply=none,
                ),
                skipped.with_columns(zero_return=pl.lit("0.003"), zero_supply=pl.lit("0.002")),
            ]
        )
    }


def habits_look_otherwise(fleet: Fleet) -> None:
    """One technician is found not to have zeroed, another to read too much: both are told so of all their visits."""
    visits = fleet.tables["visits"]
    one, other = visits["technician_id"].value_counts(sort=True)["technician_id"][:2]
    none = pl.lit(None, pl.String)
    fleet.day = {
        "visits": pl.concat(
            [
                visits.filter(pl.col("technician_id") == one)[:60].with_columns(
                    zeroed_at=none, zero_return=none, zero_supply=none
                ),
                visits.filter(pl.col("technician_id") == other)[:60].with_columns(
                    supply_static=(pl.col("supply_static").cast(float) * 1.5).round(3).cast(str)
                ),
            ]
        )
    }


def readings_copied(fleet: Fleet) -> None:
    """The same readings at another site: the visits that they are copied from are found, too."""
    visits = fleet.tables["visits"]
    old, elsewhere = visits[1000:1020], visits[3000:3020]
    fleet.day = {
        "visits": old.with_columns(
            elsewhere["site_id"], elsewhere["equipment_id"], visit_id=pl.format("{}-copied", "visit_id")
        )
    }


def technician_trained(fleet: Fleet) -> None:
    fleet.day = {
        "technicians": fleet.tables["technicians"][0:2].with_columns(trained_on=pl.lit("2025-03-04"))
    }


def new_technician(fleet: Fleet) -> None:
    """With a gauge of her own, and trained meanwhile."""
    person, gauge = fleet.tables["technicians"][0:1], fleet.tables["instruments"][0:1]
    new = {"technician_id": pl.lit("A-new"), "instrument_id": pl.lit("A-gauge")}
    fleet.day = {
        "technicians": person.with_columns(
            technician_id=new["technician_id"], trained_on=pl.lit("2026-10-28")
        ),
        "instruments": gauge.with_columns(instrument_id=new["instrument_id"]),
        "visits": fleet.new_visits.with_columns(**new),
    }


DAYS: tuple[Callable[[Fleet], None], ...] = (
    nothing,
    new_visits,
    visit_corrected,
    visit_of_other_equipment,
    visit_no_longer_known,
    site_moved_up,
    all_equipment_again_one_changed,
    new_equipment_first_by_name,
    fan_table_changed,
    gauge_is_coarser,
    work_done,
    zero_just_before,
    visits_by_somebody_else,
    habits_look_otherwise,
    readings_copied,
    technician_trained,
    new_technician,
)


def days_of(
    made: tuple[Path, Path, Fleet], tmp_path: Path, changes: Sequence[Callable[[Fleet], None]]
) -> list[Path]:
    """The history and a drop for each day; DIR is copied as tmp_path/into."""
    history, into, fleet = made
    shutil.copytree(into, tmp_path / "into")
    drops = [history]
    for number, change in enumerate(changes):
        own = Fleet(fleet.tables, fleet.new_visits)
        change(own)
        drops.append(own.write_day(tmp_path / f"day{number}"))
    return drops


def day_of(made: tuple[Path, Path, Fleet], tmp_path: Path, change: Callable[[Fleet], None]) -> list[Path]:
    """The history and the day's drop; DIR is copied as tmp_path/into."""
    return days_of(made, tmp_path, [change])


def is_part(said: list[str]) -> bool:
    return any("pieces of equipment are computed anew" in line for line in said) and not any(
        "everything" in line or "all sites" in line for line in said
    )


def assert_change_is_told_of_all(into: Path, before: Path) -> None:
    """What changed since the publication `before`, told of touched equipment, is what a look at all units tells."""
    with Warehouse(into / "work.duckdb", SETTINGS) as warehouse:
        warehouse.set_variable("today", TODAY, "DATE")
        told = warehouse.query("FROM site_change ORDER BY ALL")
        make_site_change(warehouse, before)
        assert warehouse.query("FROM site_change ORDER BY ALL").equals(told)
        assert told.height


# One run over everything for six days, which come one after the other. Nightly, one for each.
AT_ONCE = 1 if NIGHTLY else 6
TOGETHER = [DAYS[i : i + AT_ONCE] for i in range(0, len(DAYS), AT_ONCE)]


@pytest.mark.parametrize("changes", TOGETHER, ids=lambda changes: "-".join(c.__name__ for c in changes))
def test_a_day_equals_a_run_over_everything(
    made: tuple[Path, Path, Fleet], tmp_path: Path, changes: Sequence[Callable[[Fleet], None]]
) -> None:
    """Beside the tables: the part was really taken, unless a figure of this small fleet moved, which is then said."""
    drops = days_of(made, tmp_path, changes)
    into, before = tmp_path / "into", tmp_path / "before.duckdb"
    for day in drops[1:]:
        shutil.copyfile(into / "fleet.duckdb", before)
        said = run([day], into)
        assert is_part(said) or any(name in line for line in said for name in last_run.FITTED), said
        assert_change_is_told_of_all(into, before)
    run(drops, tmp_path / "whole", stages=WHOLE)
    assert_same(into / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def test_only_what_is_touched_is_computed(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    """A value that this test spoils in the work file stays where nothing is touched, and goes where something is."""
    drops = day_of(made, tmp_path, visit_corrected)
    visits = made[2].tables["visits"]
    with Warehouse(tmp_path / "into" / "work.duckdb", SETTINGS) as warehouse:
        warehouse.execute("UPDATE staging.visit_measured SET repairs = 'spoilt'")
        warehouse.execute("UPDATE staging.unit_verdict SET branch = 'spoilt'")
    said = run(drops[1:], tmp_path / "into")
    assert is_part(said), said
    ask = query_of(tmp_path / "into" / "fleet.duckdb")
    spoilt = ask("SELECT visit_id FROM visit_static WHERE repairs = 'spoilt'")["visit_id"]
    assert not set(spoilt) & set(visits["visit_id"][100:103])
    assert len(spoilt) > 0.97 * len(visits)
    spoilt = ask("SELECT DISTINCT equipment_id FROM site_static WHERE branch = 'spoilt'")["equipment_id"]
    assert not set(spoilt) & set(visits["equipment_id"][100:103])
    assert len(spoilt) > 0.8 * visits["equipment_id"].n_unique()


def test_only_what_moved_is_told_anew(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    """What this test spoils of technicians stays, but for the months of the visits that came, and these."""
    drops = day_of(made, tmp_path, visit_corrected)
    touched = made[2].tables["visits"][100:103]
    with Warehouse(tmp_path / "into" / "work.duckdb", SETTINGS) as warehouse:
        warehouse.execute("UPDATE technician_month SET skip_hi = 9")
        warehouse.execute("UPDATE coaching_visit SET look_at = 'spoilt'")
    assert is_part(run(drops[1:], tmp_path / "into"))
    ask = query_of(tmp_path / "into" / "fleet.duckdb")
    months = ask("SELECT technician_id, month_on::VARCHAR AS month_on, skip_hi FROM technician_month")
    of_day = touched.select("technician_id", month_on=pl.col("visited_at").str.slice(0, 7) + "-01")
    assert of_day.join(months, on=["technician_id", "month_on"])["skip_hi"].max() <= 1  # type: ignore[operator]
    assert (months["skip_hi"] == 9).mean() > 0.8  # type: ignore[operator]
    shown = ask("SELECT visit_id FROM coaching_visit WHERE look_at = 'spoilt'")["visit_id"]
    assert not set(shown) & set(touched["visit_id"])
    assert len(shown) > 0.5 * ask("SELECT count(*) AS n FROM coaching_visit")["n"][0]


def test_days_one_after_another(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    """Three days; on the last one more of the future has come to pass."""
    history, into, fleet = made
    shutil.copytree(into, tmp_path / "into")
    late = fleet.new_visits[5:10].with_columns(visited_at=pl.lit("2026-11-20T10:00:00-06:00"))
    days = [fleet.new_visits[:5], late, fleet.new_visits[10:]]
    drops = []
    for number, visits in enumerate(days):
        drop = Fleet({}, visits, {"visits": visits}).write_day(tmp_path / f"day{number}")
        drops.append(drop)
        run([drop], tmp_path / "into", date(2026, 11, 1 + 10 * number))
    run([history, *drops], tmp_path / "whole", date(2026, 11, 21), stages=WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def test_a_visit_that_waited_for_its_technician(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    """It is rejected on the day when it comes, among many that are only said again, and counts once she is known."""
    history, into, fleet = made
    shutil.copytree(into, tmp_path / "into")
    late = {"technician_id": pl.lit("T-late"), "visit_id": pl.lit("V-late")}
    visits = pl.concat([fleet.tables["visits"][:40], fleet.new_visits[:1].with_columns(**late)])
    person = fleet.tables["technicians"][0:1].with_columns(technician_id=late["technician_id"])
    drops = []
    for number, day in enumerate([{"visits": visits}, {"technicians": person}]):
        drops.append(Fleet({}, visits, day).write_day(tmp_path / f"day{number}"))
        run(drops[-1:], tmp_path / "into")
        there = query_of(tmp_path / "into" / "fleet.duckdb")("FROM visit WHERE visit_id = 'V-late'")
        assert len(there) == number
    run([history, *drops], tmp_path / "whole", stages=WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


AFTER_CHECK = ["check", "static", "technician", "site", "work", "contracts", "publish"]


@pytest.mark.parametrize("broken", AFTER_CHECK if NIGHTLY else ["site"])
def test_a_run_that_broke_leaves_nothing_to_build_on(
    made: tuple[Path, Path, Fleet], with_new_visits: Path, tmp_path: Path, broken: str
) -> None:
    """A run dies after a stage; the next computes everything, and the outcome is right."""
    drops = day_of(made, tmp_path, new_visits)

    class Killed(Exception):
        pass

    def die(*_: object) -> None:
        raise Killed

    stages = [(name, stage) for name, stage in day_stages()]
    at = [name for name, _ in stages].index(broken)
    stages.insert(at if broken == "publish" else at + 1, ("killed", die))
    with pytest.raises(Killed):
        run(drops[1:], tmp_path / "into", stages=stages)
    said = run(drops[1:], tmp_path / "into")
    assert not is_part(said)
    assert_same(tmp_path / "into" / "fleet.duckdb", with_new_visits)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8] if NIGHTLY else [0.5])
@pytest.mark.parametrize("name", ["work.duckdb", last_run.FILE])
def test_a_damaged_file_costs_one_run_at_most(
    made: tuple[Path, Path, Fleet], with_new_visits: Path, tmp_path: Path, name: str, share: float
) -> None:
    """The load makes a damaged work file anew; damage that a later stage meets stops that run and not the next one."""
    drops = day_of(made, tmp_path, new_visits)
    damaged = tmp_path / "into" / name
    with damaged.open("r+b") as file:
        file.seek(int(damaged.stat().st_size * share))
        file.write(b"\x5a" * 600_000)
    with contextlib.suppress(FleetStaticError, duckdb.Error):
        run(drops[1:], tmp_path / "into")
    run(drops[1:], tmp_path / "into")
    assert_same(tmp_path / "into" / "fleet.duckdb", with_new_visits)


def test_other_settings_compute_everything(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    drops = day_of(made, tmp_path, new_visits)
    other = SETTINGS.with_values({"min_visits": 4}, "the test")
    assert not is_part(run(drops[1:], tmp_path / "into", settings=other))
    run(drops, tmp_path / "whole", settings=other, stages=WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def all_sites_moved_up(fleet: Fleet) -> None:
    fleet.day = {"sites": fleet.tables["sites"].with_columns(elevation_ft=pl.lit("6000"))}


def test_too_much_touched_computes_everything(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    drops = day_of(made, tmp_path, all_sites_moved_up)
    said = run(drops[1:], tmp_path / "into")
    assert any("of the equipment is touched, more than 90%" in line for line in said), said
    run(drops, tmp_path / "whole", stages=WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def test_a_worn_file_is_written_anew(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    """Every day leaves gaps where it replaced rows; before they are half the file, everything is computed."""
    drops = day_of(made, tmp_path, new_visits)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pipeline.day.stages.WORN_OUT", 0.02)
        assert is_part(run(drops[1:], tmp_path / "into"))
        again = made[2].tables["visits"][50:70].with_columns(supply_static=pl.lit("0.71"))
        drops.append(Fleet({}, again, {"visits": again}).write_day(tmp_path / "next"))
        said = run(drops[-1:], tmp_path / "into")
        assert any("left gaps" in line for line in said), said
    run(drops, tmp_path / "whole", stages=WHOLE)
    assert_same(tmp_path / "into" / "fleet.duckdb", tmp_path / "whole" / "fleet.duckdb")


def test_a_short_history_leaves_no_memory(made: tuple[Path, Path, Fleet], tmp_path: Path) -> None:
    run([made[0]], tmp_path / "into", settings=Settings())
    assert not (tmp_path / "into" / last_run.FILE).exists()


def test_what_is_kept_is_what_fleet_steps_ask_for() -> None:
    """A new table between the scopes needs no entry anywhere; a new fleet function names what it reads."""
    assert {"level_scatter", "level_distance", "trend_distance", "equipment_line", "work_side"} <= set(KEPT)
    assert "level_visit" not in KEPT  # the visits themselves

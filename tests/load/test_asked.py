"""Deciding only the rows on which new files bear, against deciding all of them: every fate and every table is equal."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from pipeline.load import accept, asked, hold, load
from pipeline.load.asked import Asked, Question
from pipeline.load.inputs import TABLES, Table
from tests.conftest import NIGHTLY
from tests.load.drops import SOUND, VISIT_COLUMNS, Files, Kept, Store, write_drop

HEADERS = {
    "sites": "site_id,branch,elevation_ft,recorded_at",
    "equipment": "equipment_id,site_id,equipment_kind,rated_tesp_inwc,recorded_at",
    "technicians": "technician_id,recorded_at",
    "blower_tables": "blower_table_id,tap,external_static_inwc,airflow_cfm",
    "visits": f"{VISIT_COLUMNS},recorded_at",
    "work": "work_id,equipment_id,done_on,work_kind",
}


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Counter[tuple[str, Asked]]:
    """How often each table was asked how."""
    counted: Counter[tuple[str, Asked]] = Counter()
    ask = Question.ask

    def counting(self: Question, table: Table) -> Asked:
        answer = ask(self, table)
        counted[table.name, answer] += 1
        return answer

    monkeypatch.setattr(Question, "ask", counting)
    return counted


def random_rows(rng: random.Random, table: str, n: int) -> list[str]:
    """Rows of few ids, so that they meet: corrections, repetitions, unknown keys, values that cannot be read."""
    recorded = rng.choice(["", "", "2026-02-01T00:00:00Z", "2026-03-01T00:00:00Z"])
    number = rng.randrange(16)
    unit, home = f"E{number}", f"S{number % 12}"
    site = home if rng.random() < 0.8 else f"S{rng.randrange(12)}"
    person, kind = f"T{rng.randrange(9)}", rng.choice(["furnace", "fan_coil"])
    row = {
        "sites": f"S{rng.randrange(12)},{rng.choice('NS')},{rng.choice(['', '10', 'high'])},{recorded}",
        "equipment": f"{unit},{site},{kind},{rng.choice(['0.5', '0.3', 'x'])},{recorded}",
        "technicians": f"{person},{recorded}",
        "blower_tables": f"B{rng.randrange(3)},low,{rng.choice(['0.1', '0', '-0'])},{rng.randrange(3)}",
        "visits": f"V{rng.randrange(40)},{home},{unit},{person},2026-03-0{rng.randrange(1, 4)}T08:00:00Z,"
        f"cooling,-0.2,{rng.choice(['0.3', '0.4', '0.5o'])},{recorded}",
        "work": f"W{rng.randrange(9)},{unit},2026-01-0{rng.randrange(1, 9)},other",
    }[table]
    return [row, *(random_rows(rng, table, n - 1) if n > 1 else [])]


def random_drop(rng: random.Random, day: int, share: float) -> Files:
    """Files of some of the tables. Their names are in no order, for the later name wins."""
    files: Files = {}
    for table, header in HEADERS.items():
        if day == 0 or rng.random() < share:
            most = 30 if day == 0 and table != "technicians" else 5
            rows = random_rows(rng, table, rng.randrange(1, most))
            files[f"{table}_{rng.randrange(9)}_{day}.csv"] = "\n".join([header, *rows]) + "\n"
    return files or {"technicians_x.csv": f"technician_id\nT{day}\n"}


def everything(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """What is published of the load, and what became of each staged row."""
    fates = {t.fates: store.rows(f"SELECT * FROM {t.fates} ORDER BY ALL") for t in TABLES}
    more = {name: store.rows(f"SELECT * FROM {name} ORDER BY ALL") for name in ("row_fate", "kept_count")}
    return store.content() | fates | more | {"gate_fact": store.rows("FROM gate_fact ORDER BY ALL")}


@pytest.mark.parametrize(
    ("most", "seed"),
    [(most, seed) for seed in range(20) for most in (0.1, 0.5, 10)]
    if NIGHTLY
    else [(0.1, 0), (0.5, 1), (10, 2)],
)
def test_days_in_a_row_give_what_deciding_all_gives(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    answers: Counter[tuple[str, Asked]],
    most: float,
    seed: int,
) -> None:
    """Six drops, one of which the gate refuses; every row of the random fleet may name, correct or repeat another."""
    monkeypatch.setattr(asked, "MOST", most)
    rng = random.Random(seed)
    day_by_day = Store(tmp_path / "part", kept=Kept(), builds_on=True)
    at_once = Store(tmp_path / "all", kept=Kept())
    for day in range(6):
        drop = write_drop(tmp_path / f"day{day}", random_drop(rng, day, 0.4))
        for store in (day_by_day, at_once):
            store.run(drop, passes=day != 3)
        if day != 3:
            assert everything(day_by_day) == everything(at_once)
    assert any(answer is Asked.NOTHING for _, answer in answers)
    assert (most < 10) or any(answer is Asked.PART for _, answer in answers)


def stores(tmp_path: Path, first: Files) -> Store:
    store = Store(tmp_path / "into", builds_on=True)
    store.run(write_drop(tmp_path / "first", SOUND | first))
    return store


def many_visits(n: int = 40) -> str:
    rows = [f"V{i},S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.3" for i in range(n)]
    return "\n".join([VISIT_COLUMNS, *rows]) + "\n"


def test_only_rows_that_share_a_key_with_new_ones_are_asked(
    tmp_path: Path, answers: Counter[tuple[str, Asked]]
) -> None:
    """What this test spoils in the fates stays where nothing new bears on it."""
    store = stores(tmp_path, {"visits.csv": many_visits()})
    with store.open() as warehouse:
        warehouse.execute(
            "INSERT INTO staging.fate_visits SELECT rowid, load_id, 'repeated', NULL, NULL, NULL, visit_id "
            "FROM staging.visits WHERE visit_id IN ('V7', 'V8')"
        )
    answers.clear()
    late = f"{VISIT_COLUMNS}\nV8,S1,E1,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.4\n"
    store.run(write_drop(tmp_path / "late", {"visits_late.csv": late}))
    assert answers == {
        **{(t.name, Asked.NOTHING): 1 for t in TABLES if t.name != "visits"},
        ("visits", Asked.PART): 1,
    }
    assert store.rows("SELECT key, fate FROM staging.fate_visits ORDER BY ALL") == [
        ("V7", "repeated"),
        ("V8", "superseded"),
    ]


def test_rows_that_name_what_comes_are_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A visit and a job of a unit whose site is not known: that site comes, all three count."""
    monkeypatch.setattr(asked, "MOST", 10)
    unit = SOUND["equipment.csv"] + "E9,S9,furnace,0.5\n"
    visit = SOUND["visits.csv"] + "V9,S9,E9,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.3\n"
    work = "work_id,equipment_id,done_on,work_kind\nW9,E9,2026-01-01,other\n"
    store = stores(tmp_path, {"equipment.csv": unit, "visits.csv": visit, "work.csv": work})
    assert [r[0] for r in store.rows("SELECT reason FROM rejected_row ORDER BY ALL")] == [
        "equipment_unknown",
        "site_unknown",
        "site_unknown",
    ]
    store.run(write_drop(tmp_path / "site", {"sites_more.csv": "site_id,branch\nS9,East\n"}))
    assert store.rows("SELECT reason FROM rejected_row") == []
    for table, key in (("equipment", "E9"), ("visit", "V9"), ("work", "W9")):
        assert store.rows(f"SELECT count(*) FROM {table} WHERE {table}_id = '{key}'") == [(1,)]


def test_a_unit_that_moves_leaves_its_visits_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its visits name the site where it stood."""
    monkeypatch.setattr(asked, "MOST", 10)
    store = stores(tmp_path, {})
    moved = "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE1,S2,furnace,0.5\n"
    store.run(write_drop(tmp_path / "moved", {"equipment_moved.csv": moved}))
    assert store.rows("SELECT reason FROM rejected_row") == [("equipment_elsewhere",)]
    assert store.rows("SELECT visit_id FROM visit") == [("V2",)]


@pytest.mark.parametrize(
    "spoil", ["DELETE FROM decided_load", "UPDATE decided_load SET file_sha256 = 'other'"]
)
def test_all_rows_are_asked_where_what_was_decided_upon_is_gone(
    tmp_path: Path, answers: Counter[tuple[str, Asked]], spoil: str
) -> None:
    """A file that takes the place of its beginning, a refused drop, a list that does not fit: all is asked."""
    half = many_visits()[:-20]
    store = stores(tmp_path, {"visits.csv": half})
    answers.clear()
    store.run(write_drop(tmp_path / "first", SOUND | {"visits.csv": many_visits()}))
    assert set(answers) == {(t.name, Asked.ALL) for t in TABLES}
    store.run(write_drop(tmp_path / "bad", {"sites_b.csv": "site_id,branch\nS7,West\n"}), passes=False)
    answers.clear()
    store.run(write_drop(tmp_path / "next", {"sites_c.csv": "site_id,branch\nS8,West\n"}))
    assert set(answers) == {(t.name, Asked.ALL) for t in TABLES}
    with store.open() as warehouse:
        if spoil.startswith("DELETE"):
            warehouse.execute("DROP TABLE decided_load")
        else:
            warehouse.execute(spoil)
    answers.clear()
    store.run(write_drop(tmp_path / "more", {"sites_d.csv": "site_id,branch\nS9,West\n"}))
    assert set(answers) == {(t.name, Asked.ALL) for t in TABLES}
    assert [r[0] for r in store.rows("SELECT site_id FROM site ORDER BY ALL")] == ["S1", "S2", "S8", "S9"]


def test_files_that_were_held_come_in_with_what_they_waited_for(tmp_path: Path) -> None:
    """Two days of waiting between, on which other files come."""
    days: list[Files] = [
        SOUND | {"visits.csv": many_visits()},
        {"visits_b.csv": f"{VISIT_COLUMNS}\nW1,S9,E9,T1,2026-03-01T08:00:00Z,cooling,-0.2,0.3\n"},
        {"sites_c.csv": "site_id,branch\nS9,East\n"},
        {"visits_d.csv": f"{VISIT_COLUMNS}\nV5,S1,E1,T2,2026-03-01T08:00:00Z,cooling,-0.2,0.5\n"},
        {"equipment_e.csv": "equipment_id,site_id,equipment_kind,rated_tesp_inwc\nE9,S9,furnace,0.5\n"},
    ]
    stores = [Store(tmp_path / "part", builds_on=True), Store(tmp_path / "all")]
    for number, files in enumerate(days):
        drop = write_drop(tmp_path / f"day{number}", files)
        for store in stores:
            order = store.order(drop)
            with store.open() as warehouse:
                load(warehouse, order)
                (hold if number == 1 else accept)(warehouse, order)
        if number != 1:
            assert everything(stores[0]) == everything(stores[1])
    assert stores[0].rows("SELECT count(*) FROM visit WHERE visit_id = 'W1'") == [(1,)]


def test_nothing_of_it_stays_in_the_file_beyond_the_gate(tmp_path: Path) -> None:
    store = stores(tmp_path, {})
    for name, passes in (("a", True), ("b", False)):
        drop = write_drop(tmp_path / name, {f"sites_{name}.csv": f"site_id,branch\nS{name},West\n"})
        store.run(drop, passes=passes)
        assert store.rows("SELECT count(*) FROM duckdb_schemas() WHERE schema_name = 'changed'") == [(0,)]

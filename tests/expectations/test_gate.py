"""The gate on drops that were really loaded: what passes, what is refused, and how that is said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from expectations.gate import gate, gate_page
from pipeline.errors import GateError
from pipeline.load import accept, load, withdraw
from pipeline.settings import Settings
from pipeline.stages import RunOrder
from pipeline.warehouse import Warehouse
from tests.conftest import FIELD_TODAY

TABLES = {
    "sites.csv": ("site_id,branch,elevation_ft", ["S1,North,200"]),
    "equipment.csv": ("equipment_id,site_id,equipment_kind,rated_tesp_inwc", ["E1,S1,furnace,0.5"]),
    "technicians.csv": ("technician_id", ["T1"]),
}
VISITS = "visit_id,site_id,equipment_id,technician_id,visited_at,mode,return_static,supply_static"


def visit(number: int, supply: str = "0.31", equipment: str = "E1") -> str:
    return f"V{number},S1,{equipment},T1,2026-03-01T{number % 24:02}:00:00-05:00,cooling,-0.22,{supply}"


def write(folder: Path, visits: list[str] | None, **changed: tuple[str, list[str]]) -> Path:
    """A drop of the three key tables and the visits; `changed` replaces a table by its name."""
    folder.mkdir()
    tables = TABLES | {f"{name}.csv": table for name, table in changed.items()}
    if visits is not None:
        tables["visits.csv"] = (VISITS, visits)
    for name, (header, rows) in tables.items():
        (folder / name).write_text("\n".join([header, *rows]) + "\n")
    return folder


class Runs:
    """Loads drops into one DIR and asks the gate, as the stages do."""

    def __init__(self, into: Path, settings: Settings) -> None:
        into.mkdir()
        self.into, self.settings = into, settings
        self.warehouse = Warehouse(into / "work.duckdb", settings)

    def judge(self, *drops: Path) -> list[str]:
        """The lines of the refusal; none where the drop passes."""
        order = RunOrder(drops, self.into, FIELD_TODAY, settings=self.settings)
        load(self.warehouse, order)
        try:
            gate(self.warehouse)
        except GateError as error:
            withdraw(self.warehouse, order)
            first, *lines = str(error).splitlines()
            assert first == "the drop breaks its contract; nothing is published, the last publication stands"
            return [line.strip() for line in lines]
        accept(self.warehouse, order)
        return []


@pytest.fixture
def runs(tmp_path: Path) -> Iterator[Runs]:
    made = Runs(tmp_path / "into", Settings())
    yield made
    made.warehouse.close()


def test_a_sound_drop_passes_and_every_verdict_is_kept(runs: Runs, tmp_path: Path) -> None:
    assert runs.judge(write(tmp_path / "drop", [visit(1), visit(2)])) == []
    kept = runs.warehouse.query(
        "SELECT count(*) AS n, bool_and(success) AS all_hold, sum(observed)::INT AS observed, count(detail) AS told "
        "FROM gate_result WHERE stage = 'loaded'"
    ).row(0, named=True)
    assert kept["n"] > 60
    assert (kept["all_hold"], kept["observed"], kept["told"]) == (True, 0, 0)


def test_five_in_a_hundred_may_be_rejected_six_may_not(runs: Runs, tmp_path: Path) -> None:
    good = [visit(i) for i in range(94)]
    bad = [visit(200 + i, supply="0.3o") for i in range(6)]
    stranger = visit(300, equipment="E9")
    assert runs.judge(write(tmp_path / "five", [*good, visit(95), *bad[:4], stranger])) == []
    assert runs.judge(write(tmp_path / "six", [*good, *bad[:5], stranger])) == [
        "visits: 6 of 100 rows rejected (bad_number 5, equipment_unknown 1), expected at most 5 % (or fewer than 5 "
        "rows); in visits.csv"
    ]


def test_dates_that_cannot_be_read_call_for_a_mapping(runs: Runs, tmp_path: Path) -> None:
    (line,) = runs.judge(
        write(tmp_path / "drop", [visit(i).replace("2026-03-01T", "03/15/2026 ") for i in range(5)])
    )
    assert line == (
        "visits: 5 of 5 rows rejected (bad_date 5), expected at most 5 % (or fewer than 5 rows); in visits.csv; "
        "a mapping tells how dates are written: date_format, time_format"
    )


def test_a_few_bad_rows_stop_no_drop_however_small(runs: Runs, tmp_path: Path) -> None:
    bad = [visit(1), *(visit(10 + i, equipment="E9") for i in range(4))]
    assert runs.judge(write(tmp_path / "four", bad)) == []
    assert runs.warehouse.con.sql("SELECT reason, count(*) FROM rejected_row GROUP BY ALL").fetchall() == [
        ("equipment_unknown", 4)
    ]
    (line,) = runs.judge(
        write(tmp_path / "five", [visit(2), *(visit(20 + i, equipment="E9") for i in range(5))])
    )
    assert line.startswith("visits: 5 of 6 rows rejected (equipment_unknown 5)")


def test_what_an_earlier_run_brought_is_not_held_against_a_new_drop(runs: Runs, tmp_path: Path) -> None:
    first = write(
        tmp_path / "first", [visit(i) for i in range(40)] + [visit(50, supply="x"), visit(51, supply="y")]
    )
    assert runs.judge(first) == []
    assert runs.judge(write(tmp_path / "second", [visit(60)]), first) == []


def test_the_share_is_a_setting(tmp_path: Path) -> None:
    values = {"gate_rejected_share": 0.01, "gate_rejected_rows": 1}
    strict = Runs(tmp_path / "into", Settings().with_values(values, "a test"))
    rows = [visit(i) for i in range(50)] + [visit(60, supply="x")]
    (line,) = strict.judge(write(tmp_path / "drop", rows))
    assert line.startswith(
        "visits: 1 of 51 rows rejected (bad_number 1), expected at most 1 % (or fewer than 1 rows)"
    )
    strict.warehouse.close()


def test_visits_need_their_key_tables(runs: Runs, tmp_path: Path) -> None:
    visits = [visit(i) for i in range(5)]
    lines = runs.judge(write(tmp_path / "drop", visits, technicians=("technician_id", [])))
    assert lines[0] == "technicians: no usable row, although 5 rows of visits were read"
    assert lines[1].startswith("visits: 5 of 5 rows rejected (technician_unknown 5)")


def test_a_drop_without_visits_passes(runs: Runs, tmp_path: Path) -> None:
    assert runs.judge(write(tmp_path / "drop", None)) == []
    assert runs.judge(write(tmp_path / "later", [])) == []


def test_a_file_without_a_required_column_is_named(runs: Runs, tmp_path: Path) -> None:
    drop = write(tmp_path / "drop", [visit(1)], sites=("site_id,elevation_ft", ["S1,200"]))
    lines = runs.judge(drop)
    assert any("sites.csv" in line and "branch" in line for line in lines), lines


def test_a_row_out_of_every_physical_range_is_rejected_and_blocks_nobody(runs: Runs, tmp_path: Path) -> None:
    drop = write(tmp_path / "drop", None)
    rows = [f"{visit(i)},{-5 if i == 3 else ''}" for i in range(40)]
    (drop / "visits.csv").write_text("\n".join([f"{VISITS},airflow_cfm", *rows]) + "\n")
    assert runs.judge(drop) == []
    assert runs.warehouse.con.sql(
        "SELECT file, line_number, reason, detail FROM rejected_row"
    ).fetchall() == [
        (
            "visits.csv",
            5,
            "bad_number",
            "airflow_cfm holds '-5', expected 0 or a number from 1 to 50000 (cfm)",
        )
    ]


def test_a_refused_drop_leaves_no_row_behind_for_the_next_run(runs: Runs, tmp_path: Path) -> None:
    assert runs.judge(write(tmp_path / "bad", [visit(i, supply="x") for i in range(1, 6)])) != []
    assert runs.judge(write(tmp_path / "good", [visit(1)])) == []
    assert runs.warehouse.scalar("SELECT count(*) FROM visit") == 1


def test_at_most_twenty_lines_are_said(tmp_path: Path) -> None:
    from expectations.gate import _why
    from expectations.results import Judged

    broken = [Judged("x", "load_ledger", False, 30, 0, tuple(f"file {i}" for i in range(30)), True)]
    lines = _why(broken).splitlines()
    assert [line.strip() for line in lines[1:]] == [f"file {i}" for i in range(20)] + ["and 10 more"]


def test_the_page_shows_what_broke_first_and_escapes_what_a_drop_may_hold() -> None:
    rows = [
        {
            "success": True,
            "table_name": "site",
            "expectation": "a",
            "observed": 0,
            "allowed": 0,
            "detail": None,
        },
        {
            "success": False,
            "table_name": "visit",
            "expectation": "b <= c",
            "observed": 3,
            "allowed": 1,
            "detail": "</td><script>alert('{x}')</script>",
        },
    ]
    page = gate_page(rows)
    assert "Refused: 1 of 2 expectations is broken." in page
    assert "<script" not in page
    assert "&lt;/td&gt;&lt;script&gt;alert(&#x27;{x}&#x27;)&lt;/script&gt;" in page
    assert page.index("b &lt;= c") < page.index("<td>a</td>")
    assert "Passed: all 1 expectations hold." in gate_page(rows[:1])


@pytest.mark.parametrize("line", [",,,,,,,", ",,", '"",,,,,,,""', " , ,,,,,, ", ",,,,,,,,,,"])
def test_rows_without_any_value_are_rejected_but_stop_no_drop(runs: Runs, tmp_path: Path, line: str) -> None:
    """As spreadsheets leave them below their tables."""
    assert runs.judge(write(tmp_path / "drop", [visit(1), visit(2), *[line] * 300])) == []
    ledger = "SELECT rows_read, rows_loaded, rows_rejected FROM load_ledger WHERE table_name = 'visits'"
    assert runs.warehouse.con.sql(ledger).fetchall() == [(302, 2, 300)]


def test_rows_that_hold_anything_count_and_those_without_a_value_hide_none(
    runs: Runs, tmp_path: Path
) -> None:
    rows = [*[visit(n) for n in range(90)], *[visit(n, supply="") for n in range(90, 96)], *[",,,,,,,"] * 300]
    assert runs.judge(write(tmp_path / "drop", rows)) == [
        "visits: 6 of 96 rows rejected (bad_number 6), expected at most 5 % (or fewer than 5 rows); in visits.csv"
    ]

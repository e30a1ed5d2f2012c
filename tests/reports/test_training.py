"""The training page: every reason names its port and direction, and who stands out in anything is told on top."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import duckdb
import pytest

from pipeline.warehouse import SQL_DIR
from reports import draw
from reports.queries import Published
from reports.training import TEACH
from tests.reports.published import TODAY, write_published
from tests.reports.reading import ReadPage, Teller, read_page


def changed(folder: Path, *statements: str) -> tuple[ReadPage, ReadPage]:
    """Training page and index of the publication made by hand after the statements."""
    file = write_published(folder / "fleet.duckdb", sites=84)
    with duckdb.connect(str(file)) as con:
        for statement in statements:
            con.execute(statement)
    draw(file, folder / "reports")
    training, index = (read_page(folder / "reports" / name) for name in ("training.html", "index.html"))
    return training, index


def told(page: ReadPage, key: str) -> list[str]:
    """The text of each outermost element that tells of a row of the query, one blank between words."""
    tellers: list[Teller] = [t for t in page.tellers if t.row.startswith(f"{key}.") and not t.around]
    return [" ".join(t.text.split()) for t in tellers]


def says(page: ReadPage) -> str:
    return " ".join(page.text.split())


T003 = "UPDATE instrument_offset SET {} WHERE technician_id = 'T003'"


@pytest.mark.parametrize(
    ("total", "words"),
    [
        (0.105, "totals read 0.105 too high (0.085 to 0.125)"),
        (-0.105, "totals read 0.105 too low (0.085 to 0.125)"),
        (0.01, "In the total the two cannot be told from nothing."),
    ],
)
def test_a_doubtful_zero_names_both_ports_and_which_way_totals_read(
    total: float, words: str, tmp_path: Path
) -> None:
    offsets = f"return_offset_inwc = -0.058, supply_offset_inwc = 0.048, tesp_offset_inwc = {total}"
    other = "INSERT INTO instrument_offset SELECT * REPLACE ('M999z' AS instrument_id, 0.002 AS return_offset_inwc, "
    other += "FALSE AS return_doubtful) FROM instrument_offset WHERE technician_id = 'T003'"
    hidden = "UPDATE technician_zeroing SET hidden_offset_inwc = -0.058 WHERE technician_id = 'T003'"
    training, _ = changed(tmp_path, other, T003.format(offsets) + " AND instrument_id <> 'M999z'", hidden)
    (row,) = (text for text in told(training, "coaching") if text.startswith("T003"))
    assert "readings with M003a lie off" in row
    assert "return port -0.058, supply port +0.048 in. w.c." in row
    assert words in row
    assert "-0.058return port" in row


def test_an_offset_whose_total_is_not_known_says_nothing_of_it(tmp_path: Path) -> None:
    training, _ = changed(tmp_path, T003.format("supply_offset_inwc = NULL, tesp_offset_inwc = NULL"))
    (row,) = (text for text in told(training, "coaching") if text.startswith("T003"))
    assert "supply port not known in. w.c." in row
    assert "total" not in row


def test_who_stands_out_in_other_habits_is_told_on_top_and_on_the_index(
    published_file: Path, pages: Path
) -> None:
    with duckdb.connect(str(published_file), read_only=True) as con:
        habitual, plain = con.sql(
            "SELECT count(DISTINCT technician_id), count(DISTINCT technician_id) FILTER (zeroing_state = 'zeroes') "
            "FROM practice_rate JOIN technician_zeroing USING (technician_id) WHERE practice_state = 'above_fleet'"
        ).fetchall()[0]
        (n_zeroes,) = con.sql(
            "SELECT count(*) FROM technician_zeroing WHERE zeroing_state = 'zeroes'"
        ).fetchall()[0]
    assert habitual > 1
    training = says(read_page(pages / "training.html"))
    assert f"doubtful, {habitual} who stand out in other habits." in training
    assert re.search(
        rf"{n_zeroes} do not stand out in zeroing; {plain} of these stands? out in other habits\.", training
    )
    assert f"{habitual} stand out in other habits, which follow." in training
    index = says(read_page(pages / "index.html"))
    assert f"is doubtful, {habitual} who stand out in other habits, of" in index


def test_a_habit_on_too_few_visits_counts_for_nobody(tmp_path: Path) -> None:
    training, index = changed(tmp_path, "UPDATE practice_rate SET n_visits = 19")
    assert "stand out in other habits" not in says(training)
    assert "other habits" not in says(index)
    assert "do not stand out in zeroing." in says(training)
    assert told(training, "habits") == []


def test_a_habit_says_what_to_teach(pages: Path) -> None:
    rows = [row for row in told(read_page(pages / "training.html"), "habits") if row.startswith("T0")]
    assert len(rows) > 1
    assert all(TEACH["probe_near_turn"] in row for row in rows)


def test_a_habit_without_words_to_teach_still_stands(tmp_path: Path) -> None:
    training, _ = changed(tmp_path, "UPDATE practice_rate SET check_id = 'rating_unlikely'")
    assert [row for row in told(training, "habits") if row.startswith("T0") and "rating_unlikely" in row]


def test_what_to_teach_is_told_of_checks_that_there_are() -> None:
    assert set(TEACH) <= {file.stem for file in (SQL_DIR / "checks").glob("*.sql")}


def test_visits_to_look_at_lead_with_days_that_can_be(tmp_path: Path) -> None:
    later = TODAY + timedelta(days=2500)
    wrong = f"UPDATE coaching_visit SET visited_on = DATE '{later}' WHERE visit_id = "
    wrong += "(SELECT min(visit_id) FROM coaching_visit WHERE technician_id = 'T001')"
    few = "DELETE FROM coaching_visit WHERE technician_id <> 'T001'"
    training, _ = changed(tmp_path, few, wrong)
    assert later.isoformat() not in says(training)
    less = "DELETE FROM coaching_visit WHERE visit_id NOT IN (FROM (SELECT visit_id FROM coaching_visit "
    less += "ORDER BY visited_on DESC, visit_id LIMIT 3))"
    (tmp_path / "less").mkdir()
    training, _ = changed(tmp_path / "less", few, wrong, less)
    rows = [row for row in told(training, "coaching_visits") if re.match(r"\d{4}-", row)]
    assert len(rows) == 3
    assert [row.startswith(f"{later}after the reference day: a wrong date") for row in rows] == [
        False,
        False,
        True,
    ]


def test_the_newest_visits_are_still_the_newest(published_file: Path) -> None:
    published = Published.open(published_file)
    rows = published.rows("coaching_visits", newest=3, top=80)
    days = [row["visited_on"] for row in rows if row["technician_id"] == "T001"]
    assert len(days) == 3
    assert days == sorted(days, reverse=True)
    published.close()

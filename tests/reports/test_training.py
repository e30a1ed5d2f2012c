"""The training page: every reason names its port and direction, and who stands out in anything is told on top."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import duckdb
import polars as pl
import pytest
from scipy import stats

from pipeline.checks import all_checks
from reports import draw
from reports import words as page_words
from reports.charts import practice
from reports.queries import Published, Result
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
    assert "return port -0.058 (-0.074 to -0.042), supply port +0.048 (+0.032 to +0.064) in. w.c." in row
    assert words in row
    assert "-0.058-0.074 to -0.042return port, 109 visits" in row


@pytest.mark.parametrize(
    ("follows", "reason", "teach"),
    [
        (
            "instrument",
            "goes with the gauge, not with the person",
            "Nothing to teach: take the gauge out of use",
        ),
        ("technician", "goes with the person, not with the gauge", "Look at the gauge first"),
        ("cannot_be_told", "Person or gauge: cannot be told.", "Look at the gauge first"),
    ],
)
def test_nobody_is_coached_for_a_gauge_that_reads_off_in_other_hands(
    follows: str, reason: str, teach: str, tmp_path: Path
) -> None:
    training, _ = changed(
        tmp_path, f"UPDATE offset_follows SET follows = '{follows}' WHERE technician_id = 'T003'"
    )
    (row,) = (text for text in told(training, "coaching") if text.startswith("T003"))
    assert reason in row
    assert teach in row
    by_gauge = "1 of those whose zero is doubtful stands here for the gauge: it goes to calibration"
    assert (by_gauge in says(training)) == (follows == "instrument")


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
    training, _ = changed(tmp_path, "UPDATE practice_rate SET check_id = 'of_a_later_version'")
    assert [row for row in told(training, "habits") if row.startswith("T0") and "of_a_later_version" in row]


def test_every_check_that_can_be_a_habit_says_what_to_teach() -> None:
    judged = {check.check_id for check in all_checks() if check.of == "reading"}
    assert set(TEACH) == judged - {"zero_not_recorded"}, "TEACH in reports/training.py"
    too_short = [check for check, text in TEACH.items() if not text.endswith((".", "?")) or len(text) <= 40]
    assert not too_short


@pytest.mark.parametrize("name", ["training.html", "operations.html", "data_quality.html"])
def test_pages_that_send_people_to_the_ports_carry_the_cautions(name: str, pages: Path) -> None:
    text = says(read_page(pages / name))
    assert text.count(page_words.BEFORE) == 1
    assert [caution for caution in page_words.CAUTIONS if caution not in text] == []


def test_the_cautions_name_what_hurts_and_who_decides() -> None:
    said = " ".join(page_words.CAUTIONS)
    for word in ("maker's instructions", "local code", "licensed", "lock it out", "all panels on", "Never drill",
                 "heat exchanger", "eye protection", "plug every hole", "temperature rise", "combustion air",
                 "carbon monoxide", "not an order"):  # fmt: skip
        assert word in said


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


SKIPPER = "T001"  # trained on 2024-03-04; the fleet's rate is 0.06


def since(n_before: int, n_after: int, n_not_zeroed: int) -> str:
    return (
        f"UPDATE technician_training SET n_before = {n_before}, n_after = {n_after}, "
        f"n_not_zeroed_after = {n_not_zeroed}, "
        f"rate_after = {n_not_zeroed} / {n_after} WHERE technician_id = '{SKIPPER}'"
    )


# Wilson's intervals by hand: 2 of 23 is 0.024 to 0.268, 12 of 23 is 0.330 to 0.708, 0 of 19 is 0 to 0.168.
@pytest.mark.parametrize(
    ("statement", "words", "teaches"),
    [
        (
            since(33, 23, 2),
            "2 of 23 (2 % to 27 %), no longer told apart from the fleet's rate.",
            "Keep checking.",
        ),
        (since(33, 23, 12), "12 of 23 (33 % to 71 %), still above the fleet's rate.", "Zero to atmosphere"),
        (since(33, 19, 0), "0 of 19 (0 % to 17 %), too few visits to tell.", "Zero to atmosphere"),
    ],
)
def test_a_skipper_is_told_what_came_of_the_training(
    statement: str, words: str, teaches: str, tmp_path: Path
) -> None:
    training, _ = changed(tmp_path, statement)
    (row,) = (text for text in told(training, "coaching") if text.startswith(SKIPPER))
    assert f"Since the training of 2024-03-04: {words}" in row
    assert teaches in row
    top = "1 of those to coach on zeroing is no longer told apart from the fleet's rate since training"
    assert (top in says(training)) == (teaches == "Keep checking.")


def test_a_training_before_the_first_visit_changes_nothing(tmp_path: Path) -> None:
    training, _ = changed(tmp_path, since(0, 63, 0))
    (row,) = (text for text in told(training, "coaching") if text.startswith(SKIPPER))
    assert "Since the training" not in row
    assert "Keep checking" not in row


def test_visits_before_the_training_say_so(tmp_path: Path) -> None:
    few = (
        "DELETE FROM coaching_visit WHERE technician_id <> 'T001' OR visit_id NOT IN (FROM (SELECT visit_id "
    )
    few += "FROM coaching_visit WHERE technician_id = 'T001' ORDER BY visited_on DESC LIMIT 4))"
    moved = (
        "UPDATE technician SET trained_on = (SELECT visited_on FROM coaching_visit ORDER BY visited_on DESC, "
    )
    moved += "visit_id LIMIT 1 OFFSET 2) WHERE technician_id = 'T001'"
    training, _ = changed(tmp_path, few, moved)
    rows = told(training, "coaching_visits")
    days = [row[:10] for row in rows if re.match(r"\d{4}-", row)]
    marked = ["before the training" in row for row in rows if re.match(r"\d{4}-", row)]
    assert marked == [day < days[2] for day in days]
    assert sum(marked) == 1
    assert "4 visits; 2 since the last training" in says(training)


@pytest.mark.parametrize("least", [20, 30])
def test_a_monthly_line_rests_on_enough_visits_at_each_point(least: int, published_file: Path) -> None:
    """Computed again in Python: for each month the fewest months up to it that hold the minimum together."""
    published = Published.open(published_file)
    published.con.execute("CREATE TEMP TABLE setting AS FROM fleet.setting")
    published.con.execute(f"UPDATE setting SET value = {least} WHERE name = 'technician_min_visits'")
    months = published.con.sql(
        f"SELECT n_visits, n_not_zeroed FROM technician_month WHERE technician_id = '{SKIPPER}' ORDER BY month_on"
    ).fetchall()
    wanted, last = [], (0, 0)
    for end in range(1, len(months) + 1):
        runs = [months[begin:end] for begin in range(end)]
        held = min((run for run in runs if sum(n for n, _ in run) >= least), key=len, default=None)
        if held:
            last = (sum(k for _, k in held), sum(n for n, _ in held))
            wanted.append(last[0] / last[1])
    (row,) = published.rows("coaching", top=60, months=60).where("technician_id", SKIPPER)
    assert len(wanted) == (4 if least == 20 else 3)
    assert row["line_rates"] == pytest.approx(wanted)
    assert row["n_line_least"] >= least
    interval = stats.binomtest(*last).proportion_ci(method="wilson")  # scipy
    assert (row["line_last_rate_lo"], row["line_last_rate_hi"]) == pytest.approx(
        (interval.low, interval.high)
    )
    assert (row["line_at"][0], row["line_at"][-1], row["line_first"][:4]) == (0.0, 1.0, "2025")
    published.close()


def test_there_is_no_line_on_too_little_data(tmp_path: Path) -> None:
    training, _ = changed(tmp_path, "DELETE FROM technician_month WHERE month_on < DATE '2025-09-01'")
    assert told(training, "coaching")
    assert "Without a zero, 2025" not in says(training)
    assert "The lines:" not in says(training)


def no_offset_told(where: str) -> tuple[str, str]:
    """Offsets of these technicians cannot be told: too few hands in their group."""
    return (
        "UPDATE technician_zeroing SET hidden_offset_inwc = NULL, hidden_port = NULL, hidden_instrument_id = NULL, "
        f"zeroing_state = if(zeroing_state = 'zero_doubtful', 'zeroes', zeroing_state) WHERE {where}",
        "UPDATE instrument_offset SET return_offset_inwc = NULL, supply_offset_inwc = NULL, return_doubtful = FALSE "
        f"WHERE {where}",
    )


def test_where_no_offset_can_be_told_nothing_says_that_zeros_hold(tmp_path: Path) -> None:
    skips = "UPDATE technician_zeroing SET zeroing_state = 'zeroes' WHERE zeroing_state = 'skips_zero'"
    training, index = changed(tmp_path, *no_offset_told("TRUE"), skips)
    text = says(training)
    assert "0 to coach on zeroing the manometer, whether zeros on record hold cannot be told" in text
    assert "doubtful, " not in text
    assert "That is an answer too" not in text
    told_of = "cannot be told for 7 of 7: 7 share sites with too few others; offsets are told from 4 hands"
    assert (
        text.count(f"Whether zeros on record hold {told_of}") == 3
    )  # on top, in the coaching list, in its section
    assert "Nobody stands out from the fleet in how often the zero is skipped." in text
    assert "7 of these only in how often the zero is skipped" in text
    assert "Hidden offsets" in text
    assert "whether zeros on record hold cannot be told" in says(index)


def test_where_some_offsets_cannot_be_told_it_says_of_how_many_and_why(tmp_path: Path) -> None:
    few = "DELETE FROM instrument_offset WHERE technician_id = 'T001'"
    training, index = changed(tmp_path, *no_offset_told("technician_id IN ('T000', 'T001')"), few)
    text = says(training)
    assert "whose zero is on record but doubtful (cannot be told for 2)" in text
    why = "1 shares sites with too few others; offsets are told from 4 hands (technicians with their gauges) in a "
    why += "group on; 1 has fewer than 20 usable readings with any one gauge."
    assert f"cannot be told for 2 of 7: {why}" in text
    assert "is doubtful (cannot be told for 2)" in says(index)


def test_where_all_offsets_are_told_nothing_is_said_of_others(pages: Path) -> None:
    assert "cannot be told for" not in says(read_page(pages / "training.html"))


def test_without_anyone_to_compare_with_nothing_says_that_all_is_well(
    one_visit_pages: Path, tmp_path: Path
) -> None:
    text = says(read_page(one_visit_pages / "training.html"))
    assert "Nobody has 20 visits yet: nothing was compared." in text
    assert "Nothing was compared: fewer than two technicians have 20 visits." in text
    assert "That is an answer too" not in text
    lonely = (
        "UPDATE technician_zeroing SET zeroing_state = if(technician_id = 'T002', 'zeroes', 'too_few_visits')"
    )
    training, _ = changed(tmp_path, lonely, "UPDATE practice_rate SET practice_state = 'as_fleet'")
    assert says(training).count("One technician only has 20 visits: there is nobody to compare with.") == 2
    assert "to coach on zeroing" not in says(training)


def funnel_of(*technicians: tuple[str, int, float, str]) -> Result:
    """Rows of the funnel: name, visits, rate, state."""
    names = ("technician_id", "n_visits", "skip_rate", "zeroing_state")
    frame = pl.DataFrame(technicians, schema=names, orient="row").with_columns(
        skip_hi=pl.col("skip_rate") + 0.1
    )
    return Result("zeroing_funnel", "zeroing_funnel", {}, frame)


def test_the_funnel_names_findings_only_and_no_name_lies_on_another() -> None:
    sound = [(f"T{i:03d}", 150 + i % 50, 0.03, "zeroes") for i in range(70)]
    near = [("T901", 170, 0.50, "skips_zero"), ("T902", 171, 0.50, "skips_zero"), ("T903", 172, 0.49, "skips_zero"),
            ("T904", 171, 0.49, "zero_doubtful")]  # fmt: skip
    places = practice.name_places(funnel_of(*sound, *near))
    assert set(places) <= {name for name, *_ in near}
    assert len(places) >= 2
    assert places["T901"] != places["T902"]
    alone = practice.name_places(
        funnel_of(("A", 20, 0.5, "skips_zero"), ("B", 90, 0.1, "zero_doubtful"), *sound)
    )
    assert alone == {"A": "right", "B": "right"}
    many = funnel_of(*((f"T{i:03d}", 100, 0.4, "skips_zero") for i in range(30)))
    assert (
        0 < len(practice.name_places(many)) < 5
    )  # on one spot there is room for few names: the marks tell the others
    assert practice.name_places(funnel_of(*sound)) == {}


def test_findings_lie_on_top_of_the_others_and_names_on_top_of_all() -> None:
    chart = practice.funnel(funnel_of(("T\\'1", 60, 0.5, "skips_zero"), ("T2", 60, 0.02, "zeroes")))
    layers = [
        (layer["mark"]["type"], str(layer.get("transform", "")))
        for layer in chart.to_dict(validate=False)["layer"]
    ]
    marks = [which for kind, which in layers if kind == "point"]
    assert ["!(" in which for which in marks] == [True, False]
    assert [kind for kind, _ in layers][-2:] == ["text", "text"]
    assert "T2" not in str([which for kind, which in layers if kind == "text"])


def test_only_gauges_that_drift_are_listed_and_none_of_which_nothing_is_to_do(tmp_path: Path) -> None:
    """A step whose interval leaves nothing out is no finding by itself: one in twenty does by chance."""
    stepped = "UPDATE instrument_drift SET drift_state = 'no_drift_seen', advice = 'none', step_inwc = 0.01, "
    stepped += "step_lo = 0.001, step_hi = 0.02 WHERE instrument_id <> 'M001a'"
    training, _ = changed(tmp_path, stepped)
    rows = [row for row in told(training, "gauges") if row.startswith("M0")]
    assert [row[:5] for row in rows] == ["M001a"]
    assert "nothing to do" not in says(training)
    (tmp_path / "none").mkdir()
    training, _ = changed(tmp_path / "none", stepped.replace(" WHERE instrument_id <> 'M001a'", ""))
    assert told(training, "gauges") == []
    assert "None of 9 gauges with enough visits" in says(training)


def test_who_is_named_is_told_how_to_object(pages: Path) -> None:
    text = says(read_page(pages / "training.html"))
    assert "If you are named and see it otherwise" in text
    assert "A row that is wrong is corrected where it came from and given again" in text


def test_what_a_unit_or_a_gauge_shows_is_not_counted_by_technician(tmp_path: Path) -> None:
    file = write_published(tmp_path / "fleet.duckdb", sites=84)
    found: dict[str, set[str]] = {}
    for belongs_to in ("reading", "gauge"):
        with duckdb.connect(str(file)) as con:
            con.execute(
                f"UPDATE check_catalog SET belongs_to = '{belongs_to}' WHERE check_id = 'probe_near_turn'"
            )
        published = Published.open(file)
        for grouping in ("technician", "branch"):
            rows = published.rows("checks_by_group", key=grouping, grouping=grouping, groups=99)
            found[f"{grouping} {belongs_to}"] = set(rows.frame["check_id"])
        published.close()
    assert "probe_near_turn" in found["branch gauge"] & found["branch reading"] & found["technician reading"]
    assert found["technician gauge"] == found["technician reading"] - {"probe_near_turn"}

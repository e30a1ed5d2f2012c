"""Which units want a visit, why, and how many: planted verdicts, against the same reckoned by hand."""

from __future__ import annotations

from datetime import date, timedelta
from math import ceil

import polars as pl
import pytest
from scipy import stats

from pipeline.settings import Settings
from pipeline.warehouse import Warehouse

TODAY = date(2026, 3, 1)
LATELY, LONG_AGO = TODAY - timedelta(730), TODAY - timedelta(731)
RATED = 0.5
FACTS = {"installed_on": pl.Date, "retired_on": pl.Date}
VERDICTS = {"level_inwc": pl.Float64, "level_se_inwc": pl.Float64, "last_valid_on": pl.Date}

# By equipment: state, visits, level, its standard error, last valid visit; and valid visits over its modes.
Seen = tuple[str, int, float | None, float | None, date | None, int]
SEEN: dict[str, Seen] = {
    "never": ("too_few_visits", 0, None, None, None, 0),
    "few": ("too_few_visits", 2, 0.6, 0.03, LATELY, 2),
    "old": ("within_rating", 5, 0.4, 0.01, LONG_AGO, 5),
    "told": ("chronic", 5, 0.7, 0.01, LATELY, 5),
    "over": ("uncertain", 4, 0.53, 0.03, LATELY, 4),
    "under": ("uncertain", 4, 0.45, 0.04, LATELY, 4),
    "at the rating": ("uncertain", 4, 0.5, 0.03, LATELY, 4),
    "soon": ("uncertain", 3, 0.6, 0.02, LATELY, 3),
}
NOT_IN_SERVICE = {"retired": {"retired_on": TODAY}, "to come": {"installed_on": TODAY + timedelta(1)}}


def attention(**values: float) -> dict[str, tuple[str, int]]:
    """Reason and visits needed by equipment, with these settings."""
    numbers = {name: number for number, name in enumerate((*SEEN, "no visit at all", *NOT_IN_SERVICE))}
    facts = [
        {
            "equipment_no": number,
            "equipment_id": name,
            "site_id": "S",
            "branch": "B",
            "rated_tesp_inwc": RATED,
        }
        | {"installed_on": None, "retired_on": None}
        | NOT_IN_SERVICE.get(name, {})
        for name, number in numbers.items()
    ]
    verdicts = [
        {"equipment_no": numbers[name], "mode": "cooling", "static_state": state, "n_visits": n}
        | {"level_inwc": level, "level_se_inwc": error, "last_valid_on": last, "n_valid": valid}
        | {"rated_tesp_inwc": RATED}
        for name, (state, n, level, error, last, valid) in SEEN.items()
    ]
    with Warehouse(settings=Settings().with_values(values, "a test")) as warehouse:
        warehouse.set_variable("today", TODAY, "DATE")
        warehouse.execute("CREATE SCHEMA staging")
        warehouse.store("facts", pl.DataFrame(facts, schema_overrides=FACTS))
        warehouse.store("verdicts", pl.DataFrame(verdicts, schema_overrides=VERDICTS))
        warehouse.execute("CREATE VIEW staging.equipment_facts AS FROM facts")
        warehouse.execute(
            "CREATE VIEW staging.unit_verdict AS SELECT * EXCLUDE (last_valid_on, n_valid) FROM verdicts"
        )
        warehouse.execute(
            "CREATE VIEW staging.equipment_verdict AS SELECT equipment_no, last_valid_on, n_valid FROM verdicts"
        )
        warehouse.run("site/site_attention.sql")
        rows = warehouse.query("SELECT equipment_id, reason, visits_needed FROM site_attention").rows()
    return {name: (reason, needed) for name, reason, needed in rows}


def needed(name: str, probability: float) -> int:
    """Visits until the interval at this probability, narrower with their root, reaches no further than the rating."""
    _, n, level, error, *_ = SEEN[name]
    assert level is not None
    assert error is not None
    in_all = n * (float(stats.norm.ppf(probability)) * error / abs(level - RATED)) ** 2
    return max(ceil(in_all - n), 1)


def test_reasons_and_visits() -> None:
    assert attention() == {
        "never": ("never_measured", 3),
        "no visit at all": ("never_measured", 3),
        "few": ("too_few_visits", 1),
        "old": ("not_measured_lately", 1),
        "over": ("uncertain", needed("over", 0.95)),
        "under": ("uncertain", needed("under", 0.95)),
        "at the rating": ("uncertain", 99),
        "soon": ("uncertain", 1),  # it wants no narrower interval, only days
    }


@pytest.mark.parametrize(("chronic", "within"), [(0.99, 0.05), (0.9, 0.2), (0.95, 0.01)])
def test_visits_go_by_the_probability_that_was_set(chronic: float, within: float) -> None:
    found = attention(chronic_probability=chronic, within_probability=within)
    assert found["over"][1] == needed("over", chronic)
    assert found["under"][1] == needed("under", 1 - within)


def test_no_number_of_visits_makes_certain() -> None:
    assert attention(chronic_probability=1)["over"][1] == 99

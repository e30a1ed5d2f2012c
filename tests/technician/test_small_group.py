"""Of two technicians, or of two gauges, nobody can tell which reads right: then nobody is named."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest

from tests.conftest import FIELD_TODAY, Query, query_of, run_stages

SITES, VISITS, OFF = 24, 8, 0.05
# By branch: technicians, gauges, who takes which gauge (technician, turn), and whose readings are off.
FIRMS: dict[str, tuple[int, int, Callable[[int, int], int], str]] = {
    "two with two gauges": (2, 2, lambda who, turn: turn % 2, "t1"),
    "two with two each": (2, 4, lambda who, turn: 2 * who + turn % 2, "t1"),
    "four with two gauges": (4, 2, lambda who, turn: turn % 2, "g1"),
    "three with three gauges": (3, 3, lambda who, turn: turn % 3, "g1"),
    "three, one with three gauges": (3, 5, lambda who, turn: who if who < 2 else 2 + turn % 3, "t2"),
    "four with one gauge": (4, 1, lambda who, turn: 0, "t1"),
    "four without a named gauge": (4, 0, lambda who, turn: -1, "t1"),
}


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory) -> Query:
    drop = tmp_path_factory.mktemp("small_group") / "drop"
    drop.mkdir()
    generator = np.random.default_rng(5)
    visits: list[dict[str, object]] = []
    sites: list[dict[str, str]] = []
    hands: list[dict[str, str]] = []
    gauges: list[dict[str, str]] = []
    for branch, (n_hands, n_gauges, taken, off) in FIRMS.items():
        hands += [{"technician_id": f"{branch} t{k}", "branch": branch} for k in range(n_hands)]
        gauges += [{"instrument_id": f"{branch} g{k}"} for k in range(n_gauges)]
        for site in range(SITES):
            sites.append({"site_id": f"{branch} {site}", "branch": branch})
            static = generator.uniform(0.15, 0.3)
            for turn in range(VISITS):
                who = int(generator.integers(n_hands))
                gauge = taken(who, turn)
                at = datetime(2024, 1, 8, 9) + timedelta(
                    days=30 * turn + site, minutes=30 * len(visits) % 480
                )
                shift = OFF * (off in (f"t{who}", f"g{gauge}"))
                visits.append(
                    {
                        "visit_id": f"v{len(visits)}",
                        "site_id": sites[-1]["site_id"],
                        "equipment_id": sites[-1]["site_id"],
                        "technician_id": f"{branch} t{who}",
                        "instrument_id": f"{branch} g{gauge}" if gauge >= 0 else "",
                        "visited_at": f"{at:%Y-%m-%dT%H:%M}Z",
                        "mode": "heating",
                        "zero_return": 0.001,
                        "zero_supply": 0.0,
                        "return_static": round(-static + shift + generator.normal(0, 0.008), 3),
                        "supply_static": round(static + generator.normal(0, 0.008), 3),
                    }
                )
    tables = {
        "visits": pl.DataFrame(visits),
        "sites": pl.DataFrame(sites),
        "technicians": pl.DataFrame(hands),
        "instruments": pl.DataFrame(gauges),
        "equipment": pl.DataFrame(sites).select(
            "site_id",
            equipment_id="site_id",
            equipment_kind=pl.lit("furnace"),
            rated_tesp_inwc=pl.lit(0.5),
        ),
    }
    for name, rows in tables.items():
        rows.write_csv(drop / f"{name}.csv")
    return query_of(run_stages([drop], drop.parent / "out", FIELD_TODAY))


@pytest.mark.parametrize("branch", ["two with two gauges", "two with two each", "four with two gauges"])
def test_nobody_of_two_is_named(ask: Query, branch: str) -> None:
    told = ask(
        "SELECT technician_id, n_visits, zeroing_state, hidden_offset_inwc FROM technician_zeroing "
        f"WHERE branch = '{branch}'"
    )
    assert (told["n_visits"] >= 20).all()
    assert set(told["zeroing_state"]) == {"zeroes"}
    assert told["hidden_offset_inwc"].null_count() == told.height


@pytest.mark.parametrize(
    "branch",
    [
        "three with three gauges",
        "three, one with three gauges",
        "four with one gauge",
        "four without a named gauge",
    ],
)
def test_what_others_can_tell_is_still_told(ask: Query, branch: str) -> None:
    off = FIRMS[branch][3]
    pairs = ask(
        "SELECT o.* FROM instrument_offset o JOIN technician t USING (technician_id) "
        f"WHERE t.branch = '{branch}' AND o.n_visits >= 20"
    )
    by = pl.col("technician_id" if off[0] == "t" else "instrument_id")
    assert pairs.height > 0
    assert pairs.select(((by == f"{branch} {off}") == pl.col("return_doubtful")).all()).item()

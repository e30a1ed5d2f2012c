"""Facts of the trade that data must bear out (common practice, no source): what makers rate their units at."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DROPS = {"demo": ROOT / "seed_data" / "demo", "field drop": ROOT.parent / "shared" / "field_drop"}


@pytest.mark.parametrize("drop", DROPS)
def test_ratings_lie_from_about_0_2_to_0_8_and_most_are_0_5(drop: str) -> None:
    files = sorted(DROPS[drop].glob("equipment*.csv"))
    if not DROPS[drop].is_dir():
        pytest.skip("this drop does not lie beside the checkout")
    ratings: Counter[float] = Counter()
    for file in files:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            ratings.update(float(row["rated_tesp_inwc"]) for row in csv.DictReader(lines))
    assert min(ratings) >= 0.2 - 0.05
    assert max(ratings) <= 0.8 + 0.05
    assert ratings.most_common(1)[0][0] == 0.5

"""Number formats of the trade."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from reports import words


@pytest.mark.parametrize(
    ("style", "value", "text"),
    [
        ("inwc", 0.53, "0.53"),
        ("inwc", -0.22, "-0.22"),
        ("inwc", -0.001, "0.00"),
        ("inwc", 1.005, "1.00"),
        ("inwc3", -0.0414, "-0.041"),
        ("signed", 0.12, "+0.12"),
        ("signed", -0.04, "-0.04"),
        ("signed", 0.001, "0.00"),
        ("signed3", 0.0414, "+0.041"),
        ("share", 0.12, "12 %"),
        ("share", 0.0034, "0.3 %"),
        ("share", 0.0096, "1 %"),
        ("share", 0.0003, "<0.1 %"),
        ("share", 0.0, "0 %"),
        ("q", 0.0004, "<0.001"),
        ("q", 0.0123, "0.012"),
        ("plain", 0.05, "0.05"),
        ("plain", 1095.0, "1095"),
        ("share", 1.0, "100 %"),
        ("chance", 0.999, ">99 %"),
        ("chance", 1.0, ">99 %"),
        ("chance", 0.97, "97 %"),
        ("chance", 0.002, "<1 %"),
        ("count", 8088, "8,088"),
        ("count", 2606.7, "2,607"),
        ("day", date(2026, 4, 1), "2026-04-01"),
        ("month", date(2026, 4, 1), "2026-04"),
        ("minute", datetime(2026, 4, 1, 6, 30, tzinfo=UTC), "2026-04-01 06:30 UTC"),
        ("word", "too_few_visits", "too few visits"),
    ],
)
def test_format(style: str, value: object, text: str) -> None:
    assert words.shown(value, style) == text


def test_what_is_not_known_says_so() -> None:
    assert words.shown(None, "inwc") == "not known"


def test_nouns_follow_their_count() -> None:
    assert words.several(1, "unit") == "unit"
    assert words.several(0, "unit") == words.several(2, "unit") == "units"
    assert words.several(2, "branch") == "branches"

"""The demo fleet, its planted truth, and small drops of unusual shape. All of it is invented."""

from __future__ import annotations

from pathlib import Path

from seed_data.story import TODAY as DEMO_TODAY

DEMO_DROP = Path(__file__).resolve().parent / "demo"
DEMO_MAPPING: Path | None = None
DEMO_TRUTH = Path(__file__).resolve().parent / "demo_truth.csv"

__all__ = ["DEMO_DROP", "DEMO_MAPPING", "DEMO_TODAY", "DEMO_TRUTH"]

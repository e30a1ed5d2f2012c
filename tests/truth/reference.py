"""Plain, slow reference of the data contract: one visit, one site, one series at a time, no SQL.

Written from the contract's words alone, to be compared with what the stages' SQL makes of whole drops. Where the
contract leaves a choice, the module that takes it lists it under "Choices". What belongs here: nothing but names.
"""

from tests.truth.reference_airflow import density_ratio, excess_parts, side_budgets, visit_airflow
from tests.truth.reference_checks import Checked, check_visit
from tests.truth.reference_site import (
    kendall,
    last_segment,
    mode_trend,
    seasonal_kendall,
    segment_of,
    static_state,
)

__all__ = [
    "Checked",
    "check_visit",
    "density_ratio",
    "excess_parts",
    "kendall",
    "last_segment",
    "mode_trend",
    "seasonal_kendall",
    "segment_of",
    "side_budgets",
    "static_state",
    "visit_airflow",
]

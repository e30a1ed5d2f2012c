"""Single visits of the field drop, read off the CSV files and worked by hand.

Each case states the row as it stands in the file and the arithmetic that a technician would do with it. Pa are
turned into in. w.c. with 249.08891 (NIST SP 811 App. B, conventional inch of water; from memory, equals pint).
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

PA = 249.08891


@dataclass(frozen=True)
class Worked:
    """What a visit must come to. None: not looked at in this case."""

    visit_id: str
    what: str
    return_inwc: float
    supply_inwc: float
    valid: bool = True
    like_new: bool = True
    because: str | None = None
    airflow_cfm: float | None = None
    airflow_ratio: float | None = None
    causes: tuple[float, float, float] | None = None  # return, supply, airflow setting


def split(p: float, b: float, ratio: float) -> tuple[float, float]:
    """The contract's split of one side's p - b, written as it stands there."""
    a = ratio**2
    r = p / (b * a)
    return b * (r - 1) * (a + 1) / 2, b * (a - 1) * (r + 1) / 2


def causes(
    statics: tuple[float, float], budgets: tuple[float, float], ratio: float
) -> tuple[float, float, float]:
    """Return restriction, supply restriction and airflow setting of a visit."""
    (return_part, return_air), (supply_part, supply_air) = (
        split(p, b, ratio) for p, b in zip(statics, budgets, strict=True)
    )
    return return_part, supply_part, return_air + supply_air


# V0000286: furnace rated 0.5, cooling on med_high, sea level. Zeros +0.001 and -0.004 come off.
# Blower table BT-1200-50-psc med_high: 0.40 -> 1272.8 cfm, 0.45 -> 1236.9 cfm; TESP 0.430 lies 0.6 of the way.
# Design statics -0.273 and 0.227 sum to the rating: they are the budgets. Design 1200 cfm.
FURNACE_CFM = 1272.8 + 0.6 * (1236.9 - 1272.8)

# V0000001: fan coil with its filter inside the rating, so the right return port is before the filter: nothing to mend.
# Zeros -0.002 and -0.005: -0.613 + 0.002 and 0.173 + 0.005. Table 0.75 -> 1133.1, 0.80 -> 1127.0; TESP 0.789.
FAN_COIL_CFM = 1133.1 + (0.789 - 0.75) / 0.05 * (1127.0 - 1133.1)

CASES = (
    Worked(
        "V0000286",
        "furnace, like new",
        -0.218 - 0.001,
        0.207 + 0.004,
        airflow_cfm=FURNACE_CFM,
        airflow_ratio=FURNACE_CFM / 1200,
        causes=causes((0.219, 0.211), (0.273, 0.227), FURNACE_CFM / 1200),
    ),
    Worked("V0000030", "fan coil, heating, zero of the supply -0.003", -0.050, 0.105 + 0.003),
    Worked(
        "V0000001",
        "fan coil, filter in its rating, far over 0.5; no design statics: 0.25 a side",
        -0.613 + 0.002,
        0.173 + 0.005,
        airflow_cfm=FAN_COIL_CFM,
        airflow_ratio=FAN_COIL_CFM / 1225,
        causes=causes((0.611, 0.178), (0.25, 0.25), FAN_COIL_CFM / 1225),
    ),
    Worked("V0000020", "furnace in Pa, zeros in Pa too", (-62.1 + 0.747) / PA, (36.0 + 0.996) / PA),
    Worked("V0000075", "Pa written on an in. w.c. row; reported 93.7 agrees", -50.7 / PA, 43.1 / PA),
    Worked(
        "V0000113",
        "Pa on an in. w.c. row, nothing reported; the zeros fit Pa only and follow",
        (-56.6 + 0.498) / PA,
        (57.5 - 0.249) / PA,
    ),
    Worked(
        "V0000160",
        "hoses exchanged: +0.136 is the supply, its zero 0.001 goes with it",
        -0.095 - 0.002,
        0.136 - 0.001,
    ),
    Worked(
        "V0000256",
        "sign of the return dropped: 0.177 + 0.108 = 0.285, reported 0.28; zeros -0.001 and +0.002",
        -0.177 + 0.001,
        0.108 - 0.002,
    ),
    Worked(
        "V0000092",
        "sign restored (reported 0.33), but the blower was at low stage",
        -0.200 + 0.002,
        0.127 - 0.002,
        valid=False,
        like_new=False,
        because="stage_not_high",
    ),
    Worked(
        "V0000090",
        "fan coil read before its filter: -0.278 - 0.002, then the filter drop 0.120",
        -0.278 - 0.002 - 0.120,
        0.243 - 0.003,
    ),
    Worked(
        "V0000275",
        "the same in Pa: (-25.3 - 0.747 - 13.8) / 249.089",
        (-25.3 - 0.747 - 13.8) / PA,
        (45.3 + 0.996) / PA,
    ),
    Worked(
        "V0000101",
        "furnace read before its filter, drop not measured: cannot be mended",
        -0.053 + 0.001,
        0.386 + 0.001,
        valid=False,
        like_new=False,
        because="return_port_wrong",
    ),
    Worked(
        "V0000011",
        "zeroed 30 h before the reading",
        -0.230,
        0.145 + 0.001,
        valid=False,
        like_new=False,
        because="zero_stale",
    ),
    Worked(
        "V0000021",
        "blower off or hose open: both readings near zero",
        -0.001 - 0.002,
        -0.002,
        valid=False,
        like_new=False,
        because="reading_near_zero",
    ),
    Worked(
        "V0000006",
        "valid, but the filter was dirty: not like new",
        -0.247 + 0.002,
        0.142 + 0.003,
        like_new=False,
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.visit_id)
def test_visit_comes_to_what_a_hand_gets(case: Worked, field) -> None:
    row = field(f"SELECT * FROM visit_static WHERE visit_id = '{case.visit_id}'").row(0, named=True)
    assert row["return_inwc"] == pytest.approx(case.return_inwc, abs=1e-9)
    assert row["supply_inwc"] == pytest.approx(case.supply_inwc, abs=1e-9)
    assert row["tesp_inwc"] == pytest.approx(case.supply_inwc - case.return_inwc, abs=1e-9)
    assert (row["valid"], row["like_new"], row["set_aside_because"]) == (
        case.valid,
        case.like_new,
        case.because,
    )
    if case.airflow_cfm is not None:
        assert row["airflow_source"] == "blower_table"
        assert row["airflow_cfm"] == pytest.approx(case.airflow_cfm, abs=1e-6)
        assert row["airflow_ratio"] == pytest.approx(case.airflow_ratio, abs=1e-9)
    if case.causes is not None:
        found = (row["return_restriction_inwc"], row["supply_restriction_inwc"], row["airflow_setting_inwc"])
        assert found == pytest.approx(case.causes, abs=1e-9)


def test_the_split_adds_up_for_every_visit(field) -> None:
    worst = field(
        """SELECT max(abs(return_restriction_inwc + supply_restriction_inwc + airflow_setting_inwc
                          - (tesp_inwc - rated_tesp_inwc))) AS worst FROM visit_static"""
    )["worst"][0]
    assert worst < 1e-9


def test_no_row_of_the_drop_is_lost(field) -> None:
    ledger = field("SELECT * FROM load_ledger")
    assert (
        ledger["rows_read"] == ledger["rows_loaded"] + ledger["rows_rejected"] + ledger["rows_repeated"]
    ).all()
    lines = {"visits_part1.csv": 900, "visits_part2.csv": 900, "visits_part3_corrections.csv": 6}
    found = dict(ledger.select("file", "rows_read").iter_rows())
    assert {k: found[k] for k in lines} == lines
    assert field("SELECT count(*) AS n FROM rejected_row")["n"][0] == ledger["rows_rejected"].sum()

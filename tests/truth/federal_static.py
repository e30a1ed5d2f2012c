"""Minimum external static pressure of the US federal test procedures, in. w.c., by kind of equipment.

Conditions for rating a product in a laboratory, not limits for a site: what a site is held to is the maker's
maximum (`rated_tesp_inwc`). They show that no single figure fits every unit. Most rows are from memory
(`status`): only the conventional 0.50 of Appendix M1 and the first three steps of Appendix M were seen, in
public code and notes that restate them. Verify before quoting any of it as law.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TestStatic:
    """One row: the least static of the test, or the range it may take (`to_inwc`)."""

    __test__ = False  # not a test case, whatever its name

    procedure: str
    kind: str
    inwc: float
    status: str
    to_inwc: float | None = None
    capacity_btu_h: tuple[int, int | None] | None = None  # from, up to and with


APPENDIX_M1 = "10 CFR 430 Subpt B App. M1, table of minimum ESP (from 1 Jan 2023)"
APPENDIX_M = "10 CFR 430 Subpt B App. M (to 31 Dec 2022)"
APPENDIX_AA = "10 CFR 430 Subpt B App. AA, furnace fans, table 1"

FEDERAL_STATIC = (
    TestStatic(APPENDIX_M1, "conventional", 0.50, "text"),
    TestStatic(APPENDIX_M1, "ceiling-mount and wall-mount", 0.30, "memory"),
    TestStatic(APPENDIX_M1, "mobile home", 0.30, "memory"),
    TestStatic(APPENDIX_M1, "low static", 0.10, "memory"),
    TestStatic(APPENDIX_M1, "mid static", 0.30, "memory"),
    TestStatic(APPENDIX_M1, "small-duct high-velocity", 1.15, "memory"),
    TestStatic(APPENDIX_M1, "space-constrained", 0.30, "memory"),
    TestStatic(APPENDIX_M, "ducted", 0.10, "text", capacity_btu_h=(0, 28_800)),
    TestStatic(APPENDIX_M, "ducted", 0.15, "text", capacity_btu_h=(29_000, 42_500)),
    TestStatic(APPENDIX_M, "ducted", 0.20, "text", capacity_btu_h=(43_000, None)),
    TestStatic(APPENDIX_M, "small-duct high-velocity", 1.10, "memory", capacity_btu_h=(0, 28_800)),
    TestStatic(APPENDIX_M, "small-duct high-velocity", 1.15, "memory", capacity_btu_h=(29_000, 42_500)),
    TestStatic(APPENDIX_M, "small-duct high-velocity", 1.20, "memory", capacity_btu_h=(43_000, None)),
    TestStatic(APPENDIX_AA, "internal evaporator coil", 0.50, "memory", to_inwc=0.55),
    TestStatic(APPENDIX_AA, "designed to be paired with a coil", 0.65, "memory", to_inwc=0.70),
    TestStatic(APPENDIX_AA, "manufactured home", 0.30, "memory", to_inwc=0.35),
)

# ruff: noqa: E501 (a table: one check value a line)
"""Published check values for the SQL macros: what to compute, what is printed, how close, and where.

What belongs here: a figure somebody else printed, or arithmetic from a definition, with its source. What does
not: comparisons with another library on random input (`test_libraries.py`).

`status` says how far the source was seen. "text": the figure was read in the public text. "memory": remembered
only, the primary text not opened. "arithmetic": follows from a definition by the numbers shown, nothing printed.
"library": computed with another library, nothing printed. "common practice": a fact of the trade without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

STATUSES = ("text", "memory", "arithmetic", "library", "common practice")


@dataclass(frozen=True)
class Published:
    """One check value: `sql` must come to `value` within `tolerance` (absolute, in the unit of the value)."""

    name: str
    sql: str
    value: float
    tolerance: float
    source: str
    status: str


NIST = "NIST SP 811 App. B"
HOMEWORK = "university homework sheet 'Homework 6: Fan Laws'"
GUM = "JCGM 100:2008"
ATMOSPHERE = "US Standard Atmosphere 1976"
TRADE = "common practice, no source"

UNITS = (
    Published("pascals of a conventional inch", "inwc_to_pa(1)", 249.08891, 5e-6, NIST, "text"),
    Published("pascals of a conventional inch, 4 decimals", "1 / inwc_per('pa')", 249.0889, 5e-5, NIST, "text"),
    Published("inch at 60 F is 0.10 % less", "100 * (inwc_to_pa(1) - 248.84) / inwc_to_pa(1)", 0.10, 5e-3, NIST, "text"),
    Published("inch at 4 C is 0.003 % less", "100 * (inwc_to_pa(1) - 249.082) / 249.082", 0.0028, 5e-5, NIST, "text"),
    Published("pascals of a millimetre", "inwc_to_pa(to_inwc(1, 'mmwc'))", 9.80665, 5e-7, "SI definition; " + NIST, "text"),
    Published("millimetres of an inch", "inwc_to_mmwc(1)", 25.4, 1e-12, "definition of the inch", "arithmetic"),
    Published("25 Pa is nominally 0.1 in. w.c.", "pa_to_inwc(25)", 0.1, 5e-4, "Calif. 2008 RA3.1.4.3", "text"),
    Published("exactly, 0.1 in. w.c. is 24.91 Pa", "inwc_to_pa(0.1)", 24.91, 5e-3, NIST, "text"),
    Published("0.003 in. w.c. is 0.8 Pa", "inwc_to_pa(0.003)", 0.8, 0.055, "FSEC-PF-402-96, abstract", "text"),
    Published("0.051 in. w.c. is 12.7 Pa", "inwc_to_pa(0.051)", 12.7, 0.05, "FSEC-PF-402-96, abstract", "text"),
    Published("0.173 in. w.c. is 43 Pa", "inwc_to_pa(0.173)", 43, 0.5, "FSEC-PF-402-96, abstract", "text"),
    Published("1.2 in. w.c. is 298.608 Pa at 60 F, 0.1 % less than here", "inwc_to_pa(1.2) / 298.608", 1.001, 5e-5, "documentation of a VAV static sensor rule (90.1-2016 sec. 6.5.3.2.2)", "text"),
    Published("L/s of a cfm", "cfm_to_ls(1)", 0.4719474432, 5e-11, "definition of the foot", "arithmetic"),
    Published("m3/h of 1000 cfm", "cfm_to_m3h(1000)", 1699.0107955, 5e-7, "definition of the foot", "arithmetic"),
)  # fmt: skip

AIR = (
    Published("velocity pressure at 800 ft/min", "velocity_pressure_inwc(800)", 0.040, 5e-4, "trade text, worked figure", "text"),
    Published("the same, more digits", "velocity_pressure_inwc(800)", 0.039900, 5e-7, "VP = (V / 4005)^2", "arithmetic"),
    Published("speed at 1 in. w.c.", "velocity_fpm(1)", 4005, 1e-9, "ASHRAE handbook form", "text"),
    Published("first principles, conventional inch, within 0.1 %", "velocity_fpm(1) / 4008.55", 1, 1e-3, "sqrt(2 x 249.08891 / 1.201385) m/s in ft/min", "arithmetic"),
    Published("1096.7 / sqrt(0.075)", "velocity_fpm(1)", 4004.6, 0.5, "ASHRAE handbook constant 1096.7", "memory"),
    Published("air power of 1 cfm at 1 in. w.c.", "air_power_w(1, 1)", 0.1175569, 5e-8, "cfm and inch from their definitions", "arithmetic"),
    Published("divisor of air horsepower", "745.699872 / air_power_w(1, 1)", 6343, 0.5, "conventional inch", "arithmetic"),
    Published("divisor of air horsepower that handbooks print", "745.699872 / air_power_w(1, 1) / 6356", 1, 2.5e-3, "handbook figure 6356, in forum text", "text"),
    Published("2 cfm/W at 0.50 in. w.c. is 11.8 % efficient", "100 * air_power_w(2, 0.5)", 11.8, 0.05, "2 cfm/W and 10 to 15 %: Air Infiltration Review 28 (2006)", "text"),
    Published("density at sea level", "density_ratio(0)", 1, 0, ATMOSPHERE, "arithmetic"),
    Published("density at 2000 ft", "density_ratio(2000)", 0.94278, 5e-6, ATMOSPHERE + ", by the library fluids", "library"),
    Published("density at 5000 ft", "density_ratio(5000)", 0.86170, 5e-6, ATMOSPHERE + ", by the library fluids", "library"),
    Published("density at 7000 ft", "density_ratio(7000)", 0.81070, 5e-6, ATMOSPHERE + ", by the library fluids", "library"),
    Published("density at 1000 m, kg/m3", "1.225 * density_ratio(1000 / 0.3048)", 1.1117, 5e-5, ATMOSPHERE + ", table I", "memory"),
    Published("density at 2000 m, kg/m3", "1.225 * density_ratio(2000 / 0.3048)", 1.0066, 5e-5, ATMOSPHERE + ", table I", "memory"),
    Published("density at 3000 m, kg/m3", "1.225 * density_ratio(3000 / 0.3048)", 0.90925, 5e-6, ATMOSPHERE + ", table I", "memory"),
    Published("density at 5000 m, kg/m3", "1.225 * density_ratio(5000 / 0.3048)", 0.73643, 5e-6, ATMOSPHERE + ", table I", "memory"),
    Published("0.50 in. w.c. at 5000 ft is more in standard air", "to_standard_air(0.50, 5000)", 0.58025, 5e-6, "0.50 / 0.86170", "arithmetic"),
)  # fmt: skip

FANS = (
    Published("2000 to 1500 rpm: airflow", "fan_law_flow(6000, 1500 / 2000)", 4500, 1e-9, HOMEWORK + ", Q1", "text"),
    Published("2000 to 1500 rpm: pressure", "fan_law_pressure(4, 1500 / 2000)", 2.25, 1e-12, HOMEWORK + ", Q1", "text"),
    Published("2000 to 1500 rpm: power", "fan_law_power(6, 1500 / 2000)", 2.53, 5e-3, HOMEWORK + ", Q1", "text"),
    Published("1300 to 1500 rpm: airflow", "fan_law_flow(2000, 1500 / 1300)", 2308, 0.5, HOMEWORK + ", Q2", "text"),
    Published("1300 to 1500 rpm: pressure", "fan_law_pressure(3, 1500 / 1300)", 3.99, 5e-3, HOMEWORK + ", Q2", "text"),
    Published("1300 to 1500 rpm: power", "fan_law_power(1, 1500 / 1300)", 1.54, 5e-3, HOMEWORK + ", Q2", "text"),
    Published("1000 to 1250 rpm: power", "fan_law_power(1, 1.25)", 1.953, 5e-4, "fan maker's engineering note", "text"),
    Published("10 % more flow: power", "fan_law_power(1, 1.1)", 1.331, 5e-4, "trade text", "text"),
    Published("10 % more flow: pressure", "fan_law_pressure(1, 1.1)", 1.21, 5e-3, "trade text", "text"),
    Published("air at 40 C, not 20 C: pressure", "fan_law_density(340, 293.15 / 313.15)", 318.3, 0.05, "textbook problem, chapter 'Fan and duct systems'", "text"),
    Published("air at 40 C, not 20 C: power", "fan_law_density(1.8, 293.15 / 313.15)", 1.685, 5e-4, "textbook problem, chapter 'Fan and duct systems'", "text"),
    Published("blower table read at 0.55 in. w.c.", "interpolate(0.55, 0.5, 950, 0.6, 865)", 907.5, 1e-9, "table: textbook companion note 2013, PSC blower, high tap; the reading is arithmetic", "text"),
)  # fmt: skip

HANDBOOK_FIT = "duct friction 0.109136 Q^1.9 / d^5.02, public page with the handbook's fit"
GALVANISED = "library fluids 1.3.1, Darcy friction of 100 ft of 10 in. galvanised duct, 0.09 mm: 0.085267, 0.179724, 0.306672 in. w.c. at 400, 600, 800 cfm"
DUCTS = (
    Published("between 400 and 800 cfm, n = 1.8466: 600 cfm", "duct_curve_pressure(0.085267, 400, 600, 1.8466)", 0.179724, 1e-3, GALVANISED, "library"),
    Published("the airflow back from the pressure at 800 cfm", "duct_curve_flow(0.085267, 400, 0.306672, 1.8466)", 800, 0.1, GALVANISED, "library"),
    Published("n = 2 asks 11 % more at 800 cfm than the duct does", "duct_curve_pressure(0.085267, 400, 800, 2) / 0.306672", 1.112, 5e-4, GALVANISED, "library"),
    Published("400 cfm in a 10 in. duct", "duct_curve_pressure(0.109136 / power(10, 5.02), 1, 400, 1.9)", 0.0916, 5e-5, HANDBOOK_FIT, "text"),
    Published("airflow when 0.50 becomes 0.80, n = 1.8", "duct_curve_flow(0.5, 1, 0.8, 1.8)", 1.298, 5e-4, "dp = K Q^n", "arithmetic"),
    Published("airflow when 0.50 becomes 0.80, n = 1.9", "duct_curve_flow(0.5, 1, 0.8, 1.9)", 1.281, 5e-4, "dp = K Q^n", "arithmetic"),
    Published("airflow when 0.50 becomes 0.80, n = 2", "duct_curve_flow(0.5, 1, 0.8, 2)", 1.265, 5e-4, "dp = K Q^n", "arithmetic"),
    Published("test static at 80 % airflow", "duct_curve_pressure(0.5, 1000, 800, 2)", 0.32, 1e-12, "10 CFR 430 Subpt B App. M reduced-airflow rule: dP x (Q / Qfull)^2", "text"),
    Published("filter at 10 % more airflow, exponent 1 / 0.85", "duct_curve_pressure(1, 1, 1.1, 1 / 0.85)", 1.1187, 5e-5, "flow exponent 0.85: Li et al. 2022, Sep. Purif. Technol. 284:120209, by an open building library", "text"),
    Published("friction rate", "friction_rate(0.25, 300)", 0.0833, 5e-5, "ACCA Manual D: FR = ASP x 100 / TEL", "text"),
    Published("friction rate after register, grille and damper at 0.03 each", "friction_rate(0.50 - 0.25 - 3 * 0.03, 200)", 0.08, 1e-12, "component defaults 0.03: ACCA Manual D, from memory; coil 0.25: trade magazine, 0.15 to 0.25", "memory"),
)  # fmt: skip

UNCERTAINTY = (
    Published("half-width 0.40e-6 /degC", "1e6 * rectangular(0.40e-6)", 0.23, 5e-3, GUM + " 4.3.7", "memory"),
    Published("the same squared", "1e15 * power(rectangular(0.40e-6), 2)", 53.3, 0.05, GUM + " 4.3.7", "memory"),
    Published("half-width 4 degC, rectangular", "rectangular(4)", 2.31, 5e-3, GUM + " 4.4.5", "memory"),
    Published("half-width 4 degC, triangular", "triangular(4)", 1.63, 5e-3, GUM + " 4.4.6", "memory"),
    Published("half-width 0.01", "rectangular(0.01)", 0.0057735, 5e-8, GUM + " 4.3.7", "arithmetic"),
    Published("resolution", "resolution_u(1)", 0.29, 5e-3, GUM + " F.2.2.1", "memory"),
    Published("resolution 0.005", "resolution_u(0.005)", 0.0014434, 5e-8, GUM + " F.2.2.1", "arithmetic"),
    Published("1 % of 0.50 in. w.c.", "rectangular(0.01 * 0.50)", 0.002887, 5e-7, GUM + " 4.3.7", "arithmetic"),
    Published("1 % of 0.50 in. w.c. shown to 0.001", "combined_u(1, rectangular(0.005), 1, resolution_u(0.001), 0)", 0.002901, 5e-7, GUM + " 5.1.2", "arithmetic"),
    Published("H.3: correction at 30 degC with r", "combined_u(1, 0.0029, 10, 0.00067, -0.930)", 0.0041, 5e-5, GUM + " H.3; data and result in the GTC manual", "text"),
    Published("H.3: the same, r left out", "combined_u(1, 0.0029, 10, 0.00067, 0)", 0.0073, 5e-5, GUM + " H.3", "arithmetic"),
)  # fmt: skip

FACTS_OF_THE_TRADE = (
    Published("-0.15 and +0.15 make 0.30", "tesp(-0.15, 0.15)", 0.30, 1e-12, TRADE, "common practice"),
    Published("contract's own: -0.22 and 0.31", "tesp(-0.22, 0.31)", 0.53, 1e-12, "data contract section 4", "arithmetic"),
    Published("an error of zero common to both ports cancels", "tesp(-0.42 + 0.07, 0.38 + 0.07)", 0.80, 1e-12, "definition of the difference", "arithmetic"),
    Published("a fan 20 % too fast raises both sides by 44 %", "fan_law_pressure(0.25, 1.2) / 0.25", 1.44, 1e-12, TRADE, "common practice"),
)  # fmt: skip

PHYSICS = UNITS + AIR + FANS + DUCTS + UNCERTAINTY + FACTS_OF_THE_TRADE

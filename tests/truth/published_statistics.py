# ruff: noqa: E501 (a table: one check value a line)
"""Published check values of the statistics macros; the form and the statuses are those of `published.py`."""

from __future__ import annotations

from tests.truth import series as s
from tests.truth.published import Published
from tests.truth.series import sql_list

NEWCOMBE = "Newcombe 1998, Stat. Med. 17:857, Table I, method 3"
SEN = "test of the deming package, after Sen 1968"
HELSEL = "Helsel and Hirsch, Statistical Methods in Water Resources"
JULIA = "docstring of an independent Mann-Kendall package"
EPA_17_6 = "USEPA 2009 Unified Guidance p. 17-33, by the EnvStats documentation"
HW3 = "Hollander and Wolfe, chapter 3"
HW4 = "Hollander and Wolfe, chapter 4"
BH = "Benjamini and Hochberg 1995, section 3.2; the scipy documentation uses it"
BY_HAND = "computed twice, with pymannkendall or scipy and by hand; no printed source"

SEN_PAIR = f"{sql_list(s.SEN_X)}, {sql_list(s.SEN_Y)}"
SULFATE = f"{sql_list(s.SULFATE_YEARS)}, {sql_list(s.SULFATE)}"
OUTLIER = "[1, 2, 3, 4, 5, 6, 7], [1, 2, 3, 4, 5, 16, 7]"
TEN = f"range(10), {sql_list(s.TEN_VALUES)}"
NILE = f"range(1871, 1971), {sql_list(s.NILE)}"
CLOUDS = f"range(1, 6), {sql_list(s.CLOUD_SEEDING)}"
FOUR = "[1, 2, 3, 4], [10, 15, 14, 20]"
Z95 = "normal_quantile(0.975)"
Z93 = "normal_quantile(0.965)"
DEPRESSION = sql_list(
    tuple(round(a - b, 3) for a, b in zip(s.DEPRESSION_BEFORE, s.DEPRESSION_AFTER, strict=True))
)
MEMBRANE = f"{sql_list(s.MEMBRANE_X)}, {sql_list(s.MEMBRANE_Y)}"

PROPORTIONS = (
    Published("Wilson 81 of 263, lower", "wilson_lo(81, 263)", 0.2553, 5e-5, NEWCOMBE, "memory"),
    Published("Wilson 81 of 263, upper", "wilson_hi(81, 263)", 0.3662, 5e-5, NEWCOMBE, "memory"),
    Published("Wilson 15 of 148, lower", "wilson_lo(15, 148)", 0.0624, 5e-5, NEWCOMBE, "memory"),
    Published("Wilson 15 of 148, upper", "wilson_hi(15, 148)", 0.1605, 5e-5, NEWCOMBE, "memory"),
    Published("Wilson 0 of 20, lower", "wilson_lo(0, 20)", 0, 0, NEWCOMBE, "memory"),
    Published("Wilson 0 of 20, upper", "wilson_hi(0, 20)", 0.1611, 5e-5, NEWCOMBE, "memory"),
    Published("Wilson 1 of 29, lower", "wilson_lo(1, 29)", 0.0061, 5e-5, NEWCOMBE, "memory"),
    Published("Wilson 1 of 29, upper", "wilson_hi(1, 29)", 0.1718, 5e-5, NEWCOMBE, "memory"),
)  # fmt: skip

NORMAL = (
    Published("z of a 95 % interval", "normal_quantile(0.975)", 1.959964, 5e-7, "Spiegelhalter 2005, funnel limits", "memory"),
    Published("z of a 99.8 % interval", "normal_quantile(0.999)", 3.090232, 5e-7, "Spiegelhalter 2005, funnel limits", "memory"),
    Published("one standard deviation", "normal_cdf(1) - normal_cdf(-1)", 0.6827, 5e-5, "tables of the normal distribution", "memory"),
    Published("two standard deviations", "normal_cdf(2) - normal_cdf(-2)", 0.9545, 5e-5, "tables of the normal distribution", "memory"),
    Published("density at 0", "normal_pdf(0)", 0.39894228, 5e-9, "1 / sqrt(2 pi)", "arithmetic"),
)  # fmt: skip

THEIL_SEN = (
    Published("Sen's example: slope", f"theil_sen_slope({SEN_PAIR})", 4, 1e-12, SEN, "text"),
    Published("Sen's example: lower end at 93 %", f"theil_sen_lo({SEN_PAIR}, {Z93})", 26 / 7, 1e-12, SEN, "text"),
    Published("Sen's example: upper end at 93 %", f"theil_sen_hi({SEN_PAIR}, {Z93})", 35 / 8, 1e-12, SEN, "text"),
    Published("Sen's example: intercept, median of y - b x", f"theil_sen_intercept_joint({SEN_PAIR})", 6, 1e-12, SEN, "text"),
    Published("Sen's example: intercept, from the medians", f"theil_sen_intercept({SEN_PAIR})", 4, 1e-12, SEN, "text"),
    Published("one outlier: slope", f"theil_sen_slope({OUTLIER})", 1, 1e-12, HELSEL, "memory"),
    Published("one outlier: intercept", f"theil_sen_intercept({OUTLIER})", 0, 1e-12, HELSEL, "memory"),
    Published("ten values: slope", f"theil_sen_slope({TEN})", 0.04, 1e-12, JULIA, "text"),
    Published("sulfate: slope", f"theil_sen_slope({SULFATE})", 26.66667, 5e-6, EPA_17_6, "text"),
    Published("sulfate: intercept", f"theil_sen_intercept({SULFATE})", -1909.333, 5e-4, EPA_17_6, "text"),
    Published("sulfate: lower end", f"theil_sen_lo({SULFATE}, {Z95})", 20.0, 5e-6, EPA_17_6, "text"),
    # EnvStats interpolates between ranks (35.71182); ranks rounded as scipy does give the next slope
    Published("sulfate: upper end, rounded rank", f"theil_sen_hi({SULFATE}, {Z95})", 35.84906, 5e-6, "scipy.stats.theilslopes", "library"),
    Published("sulfate: upper end near the interpolated one", f"theil_sen_hi({SULFATE}, {Z95})", 35.71182, 0.2, EPA_17_6, "text"),
    Published("Nile: slope", f"theil_sen_slope({NILE})", -2.6, 1e-9, BY_HAND, "library"),
    Published("Nile: lower end", f"theil_sen_lo({NILE}, {Z95})", -3.627907, 5e-7, BY_HAND, "library"),
    Published("Nile: upper end", f"theil_sen_hi({NILE}, {Z95})", -1.428571, 5e-7, BY_HAND, "library"),
    Published("cloud seeding: slope", f"theil_sen_slope({CLOUDS})", -0.05625, 1e-12, "Hollander and Wolfe, example 9.1", "memory"),
)  # fmt: skip

MANN_KENDALL = (
    Published("ten values: S", f"mann_kendall_s({TEN})", 5, 0, JULIA, "text"),
    Published("ten values: variance", f"mann_kendall_var({sql_list(s.TEN_VALUES)})", 125, 0, JULIA, "text"),
    Published("ten values: z", f"mann_kendall_z({TEN})", 0.35777087639996635, 1e-15, JULIA, "text"),
    Published("ten values: p", f"mann_kendall_p({TEN})", 0.7205147871362552, 1e-14, JULIA, "text"),
    Published("Gilbert's four: S", f"mann_kendall_s({FOUR})", 4, 0, "Gilbert 1987", "memory"),
    Published("Gilbert's four: variance", "mann_kendall_var([10, 15, 14, 20])", 8.6667, 5e-5, "Gilbert 1987", "memory"),
    Published("Gilbert's four: z", f"mann_kendall_z({FOUR})", 1.0190, 5e-5, "Gilbert 1987", "memory"),
    Published("sulfate: S", f"mann_kendall_s({SULFATE})", 194, 0, EPA_17_6, "text"),
    Published("sulfate: variance with ties", f"mann_kendall_var({sql_list(s.SULFATE)})", 1428, 0, EPA_17_6, "text"),
    Published("sulfate: z", f"mann_kendall_z({SULFATE})", 5.107322, 5e-7, EPA_17_6, "text"),
    Published("sulfate: p", f"1e7 * mann_kendall_p({SULFATE})", 3.267574, 5e-7, EPA_17_6, "text"),
    Published("sulfate: tau", f"mann_kendall_s({SULFATE}) / (23 * 22 / 2)", 0.7667984, 5e-8, EPA_17_6, "text"),
    Published("Nile: S", f"mann_kendall_s({NILE})", -1387, 0, BY_HAND, "library"),
    Published("Nile: variance with 11 groups of ties", f"mann_kendall_var({sql_list(s.NILE)})", 112728.3333, 5e-5, BY_HAND, "library"),
    Published("Nile: z", f"mann_kendall_z({NILE})", -4.1280665, 5e-8, BY_HAND, "library"),
    Published("Nile: p", f"1e5 * mann_kendall_p({NILE})", 3.6583, 5e-5, BY_HAND, "library"),
    Published("cloud seeding: S", f"mann_kendall_s({CLOUDS})", -6, 0, "Hollander and Wolfe, example 9.1", "memory"),
    Published("Kendall's tau of nine pairs", f"mann_kendall_s({sql_list(s.TUNA_X)}, {sql_list(s.TUNA_Y)}) / 36", 0.4444, 5e-5, "example of R's cor.test", "memory"),
)  # fmt: skip

LOCATION = (
    Published("depression scale: centre", f"hodges_lehmann({DEPRESSION})", 0.46, 1e-9, HW3, "memory"),
    Published("depression scale: lower end at 96.1 %", f"walsh_averages({DEPRESSION})[6]", 0.010, 5e-4, HW3, "memory"),
    Published("depression scale: upper end at 96.1 %", f"walsh_averages({DEPRESSION})[40]", 0.786, 5e-4, HW3, "memory"),
    Published("depression scale: signed rank V", f"len(list_filter(walsh_averages({DEPRESSION}), LAMBDA w: w > 0))", 40, 0, HW3, "memory"),
    Published("membrane: shift", f"hodges_lehmann_shift({MEMBRANE})", 0.305, 1e-9, HW4, "memory"),
    Published("membrane: rank sum W", f"len(list_filter(pair_differences({MEMBRANE}), LAMBDA w: w > 0))", 35, 0, HW4, "memory"),
    Published("membrane: lower end", f"pair_differences({MEMBRANE})[9]", -0.15, 1e-9, HW4, "memory"),
    Published("membrane: upper end", f"pair_differences({MEMBRANE})[42]", 0.76, 1e-9, HW4, "memory"),
)  # fmt: skip

MULTIPLICITY = (
    Published("15 tests: rejected at 0.05", f"len(list_filter(bh_q({sql_list(s.BH_P)}), LAMBDA q: q <= 0.05))", 4, 0, BH, "text"),
    Published("15 tests: fourth adjusted p", f"bh_q({sql_list(s.BH_P)})[4]", 0.035625, 1e-12, BH, "text"),
)  # fmt: skip

STATISTICS = PROPORTIONS + NORMAL + THEIL_SEN + MANN_KENDALL + LOCATION + MULTIPLICITY

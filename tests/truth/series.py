"""Printed data sets, typed in: what the trend and location tests of the published examples are computed from."""

from __future__ import annotations

# USEPA 2009, Unified Guidance, example 17-6: sulfate, mg/L, against time in years (by the EnvStats documentation)
SULFATE_YEARS = (
    89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6,
    93.1, 93.6, 94.1, 94.6, 95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8,
)  # fmt: skip
SULFATE = (
    480, 450, 490, 520, 485, 510, 510, 530, 510, 560, 560, 540,
    590, 550, 600, 700, 570, 610, 650, 620, 830, 720, 590,
)  # fmt: skip

# USEPA 2009, Unified Guidance, example 14-10: three years of months from January 1983 (by the EnvStats documentation)
MONTHLY = (
    (1.99, 2.10, 2.12, 2.12, 2.11, 2.15, 2.19, 2.18, 2.16, 2.08, 2.05, 2.08),
    (2.01, 2.10, 2.17, 2.13, 2.13, 2.18, 2.25, 2.24, 2.22, 2.13, 2.08, 2.16),
    (2.15, 2.17, 2.27, 2.23, 2.24, 2.26, 2.31, 2.32, 2.28, 2.22, 2.19, 2.22),
)

# Annual flow of the Nile at Aswan, 1871 to 1970, 1e8 m3 (Durbin and Koopman; statsmodels.datasets.nile)
NILE = (
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969,
    831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759,
    781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890,
    744, 749, 838, 1050, 918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
)  # fmt: skip

# documentation of an independent Mann-Kendall package
TEN_VALUES = (4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69)

# Sen 1968, as the deming package's tests give it
SEN_X = (1, 2, 3, 4, 10, 12, 18)
SEN_Y = (9, 15, 19, 20, 45, 55, 78)

# the example of R's cor.test (Hollander and Wolfe 1973; from memory)
TUNA_X = (44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1)
TUNA_Y = (2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8)

# Hollander and Wolfe, example 9.1, cloud seeding (from memory)
CLOUD_SEEDING = (1.26, 1.27, 1.12, 1.16, 1.03)

# Hollander and Wolfe, chapter 3, depression scale before and after (from memory)
DEPRESSION_BEFORE = (1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30)
DEPRESSION_AFTER = (0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29)

# Hollander and Wolfe, chapter 4, permeability of a membrane (from memory)
MEMBRANE_X = (0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46)
MEMBRANE_Y = (1.15, 0.88, 0.90, 0.74, 1.21)

# Benjamini and Hochberg 1995, section 3.2 (from memory)
BH_P = (
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
    0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.000,
)  # fmt: skip

# NIST StRD nonlinear regression, DanWood (certified values and data from memory)
DANWOOD_X = (1.309, 1.471, 1.490, 1.565, 1.611, 1.680)
DANWOOD_Y = (2.138, 3.421, 3.597, 4.340, 4.882, 5.660)

# JCGM 100:2008 H.3, thermometer readings and corrections, degC (data by the GTC manual)
THERMOMETER_T = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
THERMOMETER_B = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)

# JCGM 100:2008 H.5, ten days of five readings: day means above 10 V and standard deviations, microvolts (from memory)
VOLTAGE_MEANS = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)
VOLTAGE_SDS = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)


def sql_list(values: tuple[float, ...]) -> str:
    """The values as a DuckDB list of numbers."""
    return "[" + ", ".join(repr(v) for v in values) + "]"

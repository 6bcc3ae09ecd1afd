"""Published values of the GUM (JCGM 100:2008) and its Supplement 1 (JCGM 101:2008).

Values of Annex H.1 were compared with three public test suites and the documentation of the GUM
library GTC; those of Table 1 are from memory, and their arithmetic closes exactly.
"""

from __future__ import annotations

# GUM Table 1: twenty temperatures in degrees Celsius. Mean and deviations are computed from them;
# the GUM prints 100.14, 1.49 and 0.33.
TABLE_1 = (
    96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
    100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
)  # fmt: skip
TABLE_1_MEAN, TABLE_1_U, TABLE_1_DOF = 100.145, 0.33292, 19

# GUM H.1, end-gauge calibration: (source, u, degrees of freedom, |sensitivity|), contributions in nm.
L_S = 50_000_623.0
END_GAUGE = (
    ("length of the standard", 25.0, 18.0, 1.0),
    ("measured difference", 9.7, 25.6, 1.0),
    ("difference of expansion", 0.58e-6, 50.0, L_S * 0.1),
    ("difference of temperature", 0.029, 2.0, L_S * 11.5e-6),
)
END_GAUGE_U = 32.0  # nm, printed; 31.7 from these rounded inputs
END_GAUGE_DOF = 16
END_GAUGE_K99 = 2.92
END_GAUGE_U99 = 93.0  # nm

# GUM Table G.2: t-factors for p = 95 % and 99 %, by degrees of freedom.
T_95 = {1: 12.71, 2: 4.30, 5: 2.57, 10: 2.23, 16: 2.12, 20: 2.09, 50: 2.01}
T_99 = {16: 2.92}

"""Atomic and molar masses, IUPAC abridged standard atomic weights (2021), and the exact factors from them."""

from __future__ import annotations

H, C, N, O, NA, MG, SI, P = 1.008, 12.011, 14.007, 15.999, 22.98977, 24.305, 28.085, 30.97376  # noqa: E741
S, CL, K, CA, FE, CU, ZN, SR = 32.06, 35.45, 39.0983, 40.078, 55.845, 63.546, 65.38, 87.62
B, I, HG = 10.81, 126.90447, 200.592  # noqa: E741

NO3 = N + 3 * O
NO2 = N + 2 * O
NH3 = N + 3 * H
NH4 = N + 4 * H
PO4 = P + 4 * O
P2O5 = 2 * P + 5 * O
SIO2 = SI + 2 * O
CACO3 = CA + C + 3 * O
CAO = CA + O
HCO3 = H + C + 3 * O
O2 = 2 * O

# One degree of carbonate hardness is 10 mg CaO in a litre, by definition; two equivalents a mole.
MEQ_PER_DKH = 2 * 10.0 / CAO
MEQ_PER_MG_CACO3 = 2.0 / CACO3
MEQ_PER_MG_HCO3 = 1.0 / HCO3

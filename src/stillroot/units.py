"""Conversions between the units of the code (mm, N, MPa) and those of inputs and outputs."""

UM_PER_MM = 1000.0
NMM_PER_NCM = 10.0

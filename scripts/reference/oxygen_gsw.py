"""Air-saturated water by the GSW (TEOS-10) library, at salinity 0.

Needs python3-gsw. Prints JSON: for each temperature in °C (ITS-90) the
solubility in µmol/kg as the library gives it, and in mg/L with the density of
water by Kell (1975) and 31.9988 g/mol. It imports nothing of the program.
"""
import json

import gsw


def kell(t):
    n = (999.83952 + 16.945176 * t - 7.9870401e-3 * t**2 - 46.170461e-6 * t**3
         + 105.56302e-9 * t**4 - 280.54253e-12 * t**5)
    return n / (1 + 16.879850e-3 * t)


points = []
for t in range(41):
    per_kg = float(gsw.O2sol_SP_pt(0.0, float(t)))
    points.append({"temperature_c": t, "umol_kg": per_kg, "do_mg_l": per_kg * kell(t) * 31.9988e-6})
print(json.dumps({"gsw": gsw.__version__, "points": points}))

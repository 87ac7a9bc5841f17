"""TPO of weighed packages and of bottles read by fill height with the uncertainties library.

Needs python3-uncertainties. Reads a JSON list of packages on stdin, prints for
each the value, the standard uncertainty and the part of each effect, in ppb.
The measurement equation is written here again from docs/method.md (eq. 1-3, 6,
8, 12-16, 18); derivatives are the library's, exact, where the program takes
differences or other closed forms. A lot's tare and capacity of glass share a correlation. It imports
nothing of the program.
"""
import json
import sys

import uncertainties
from uncertainties import ufloat
from uncertainties.umath import exp


def saturation(t):
    k = t + 273.15
    return exp(-139.34411 + 1.575701e5 / k - 6.642308e7 / k**2 + 1.243800e10 / k**3 - 8.621949e11 / k**4)


def partition(t):
    k = t + 273.15
    vapour = exp(11.8571 - 3840.70 / k - 216961 / k**2)
    theta = 0.000975 - 1.426e-5 * t + 6.436e-8 * t**2
    return 0.20946 * (1 - vapour) * (1 - theta) * 101325 * 31.9988 / (8.314462618 * k) / saturation(t)


def water(t):
    return 999.974950 * (1 - (t - 3.983035)**2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def package(p):
    u = p["u"]
    e = {key: ufloat(0, 1, tag=key) for key in u}  # each effect in units of its standard uncertainty
    s = lambda key: u.get(key, 0) * e[key] if key in e else 0
    adjust = 1 + s("scale_adjustment")
    tare_shift, shared = s("tare"), p.get("correlation", 0)
    gross = p.get("gross_g", 0) * adjust + s("scale_gross")
    tare = p.get("tare_g", 0) * adjust + s("scale_tare") + tare_shift
    air, gas = p["air_density_kg_m3"] + s("air"), s("gas")
    if "capacity_water_g" in p:
        filling = p["capacity_water_g"] * adjust + s("capacity")
        capacity = filling * 1000 * (1 - air / 8000) / (water(p["water_temperature_c"]) - air)
    else:
        capacity = p["capacity_ml"] + (1 - shared**2) ** 0.5 * s("capacity")
        if shared:
            capacity = capacity + shared * u["capacity"] * e["tare"]
    t = p["temperature_c"] + s("temperature")
    do = p["shaken_do_ppb"] + s("meter") + s("shaking")
    rho = (p.get("sg", 1) + s("gravity")) * water(t) * (1 + s("expansion")) + s("co2")
    net = (gross - tare) * 1000 * (1 - air / 8000)
    beer = (net - gas * capacity) / (rho - (air + gas))
    if "neck_headspace_ml" in p:  # read at the known height itself
        beer = capacity - (p["neck_headspace_ml"] + s("neck"))
    k = partition(t) * (1 + s("partition") + s("pressure"))
    tpo = do * (1 + s("beer") + k * (capacity - beer) / beer)
    parts = {v.tag: sd for v, sd in tpo.error_components().items()}
    return {"tpo_ppb": tpo.nominal_value, "tpo_u_ppb": tpo.std_dev, "parts": parts}


print(json.dumps({"uncertainties": uncertainties.__version__, "packages": [package(p) for p in json.load(sys.stdin)]}))

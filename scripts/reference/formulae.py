"""A second implementation of the published formulae, in plain Python.

Written from the papers' equations as docs/method.md gives them, not from the
program's code, so that a slip of the pen in one shows against the other. With
"chain" as argument it prints the worked example of docs/method.md line by line;
without, JSON tables that the tests compare live. Standard library only.
"""
import json
import sys
from math import exp, log

R = 8.314462618          # J/(mol K)
ATM = 101325.0           # Pa
M_O2, M_CO2, M_H2O = 31.9988, 44.0095, 18.015268  # g/mol
X_O2 = 0.20946


def saturation(t):
    """mg/L at 1 atm: Benson and Krause 1984, eq. 32."""
    k = t + 273.15
    return exp(-139.34411 + 1.575701e5 / k - 6.642308e7 / k**2 + 1.243800e10 / k**3 - 8.621949e11 / k**4)


def vapour(t):
    """atm: short form of USGS memo 2011.03."""
    k = t + 273.15
    return exp(11.8571 - 3840.70 / k - 216961 / k**2)


def theta(t):
    return 0.000975 - 1.426e-5 * t + 6.436e-8 * t**2


def saturation_at(t, atm):
    u, th = vapour(t), theta(t)
    return saturation(t) * (atm - u) * (1 - th * atm) / ((1 - u) * (1 - th))


def partition(t):
    """K from the solubility."""
    per_litre_gas = X_O2 * (1 - vapour(t)) * (1 - theta(t)) * ATM * M_O2 / (R * (t + 273.15))  # mg/L = g/m3
    return per_litre_gas / saturation(t)


def partition_iupac(t):
    """K from the Henry coefficient of IUPAC 2014."""
    k = t + 273.15
    henry = exp(14.989460 + 5742.622 / k - 1070683 / k**2)  # Pa
    return henry * M_H2O / 1000 / (tanaka(t) * R * k)


def tanaka(t):
    return 999.974950 * (1 - (t - 3.983035)**2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def wagner_pruss(t):
    """kPa."""
    k = t + 273.15
    v = 1 - k / 647.096
    s = (-7.85951783 * v + 1.84408259 * v**1.5 - 11.7866497 * v**3 + 22.6807411 * v**3.5
         - 15.9618719 * v**4 + 1.80122502 * v**7.5)
    return 22064.0 * exp(647.096 / k * s)


def cipm(t, p, h):
    """kg/m3; p in Pa, h 0 to 1."""
    k = t + 273.15
    psv = exp(1.2378847e-5 * k**2 - 1.9121316e-2 * k + 33.93711047 - 6.3431645e3 / k)
    xv = h * (1.00062 + 3.14e-8 * p + 5.6e-7 * t**2) * psv / p
    z = (1 - p / k * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2 + (5.707e-6 - 2.051e-8 * t) * xv
                      + (1.9898e-4 - 2.376e-6 * t) * xv**2) + (p / k)**2 * (1.83e-11 - 0.765e-8 * xv**2))
    ma = 28.96546e-3
    return p * ma / (z * 8.314472 * k) * (1 - xv * (1 - 18.01528e-3 / ma))


def co2_beer(t, bar):
    return 10 * bar * exp(-10.73797 + 2617.25 / (t + 273.15))


def co2_gas(t, pa):
    k = t + 273.15
    b = (-1636.75 + 12.0408 * k - 3.27957e-2 * k**2 + 3.16528e-5 * k**3) * 1e-6
    return pa * M_CO2 / 1000 / (R * k * (1 + b * pa / (R * k)))


def weiss_water(t, pa):
    """g/L of CO2 in water under CO2 saturated with vapour: Weiss 1974."""
    k = t + 273.15
    ln_k0 = -58.0931 + 90.5069 * (100 / k) + 22.2940 * log(k / 100)
    b = (-1636.75 + 12.0408 * k - 3.27957e-2 * k**2 + 3.16528e-5 * k**3) * 1e-6
    fugacity = (pa - 1000 * wagner_pruss(t)) / ATM * exp(b * pa / (R * k))
    return exp(ln_k0) * fugacity * exp(32.3e-6 * (ATM - pa) / (R * k)) * M_CO2


def density_rise(t, grams, beer):
    apparent = 37.51 - 9.585e-2 * t + 8.740e-4 * t**2 - 5.044e-7 * t**3
    return grams * (1 - beer / 1000 * apparent / M_CO2)


def icumsa(w, t):
    """kg/m3 of sucrose and water, w by mass: SPS-4, term by term."""
    x = (t - 20) / 100
    water = ((999.83952 + 16.952577 * t - 7.9905127e-3 * t**2 - 46.241757e-6 * t**3 + 105.84601e-9 * t**4
              - 281.03006e-12 * t**5) / (1 + 16.887236e-3 * t))
    a0 = 385.1761 * w + 135.3705 * w**2 + 40.9299 * w**3 - 3.9643 * w**4 + 13.4853 * w**5 - 17.2890 * w**6
    a1 = -46.2720 * w - 7.1720 * w**2 + 1.1597 * w**3 + 5.1126 * w**4 + 17.5254 * w**5
    a2 = 59.7712 * w + 7.2491 * w**2 + 12.3630 * w**3 - 35.4791 * w**4
    a3 = -47.2207 * w - 21.6977 * w**2 + 27.6301 * w**3
    a4 = 18.3184 * w + 12.3081 * w**2
    return water + a0 + a1 * x + a2 * x**2 + a3 * x**3 + a4 * x**4


def plato(sg):
    return -616.868 + 1111.14 * sg - 630.272 * sg**2 + 135.997 * sg**3


def balling(oe, ae):
    re = 0.1808 * oe + 0.8192 * ae
    return re, (oe - re) / (2.0665 - 0.010665 * oe)


def garcia_gordon(t):
    """mg/L, fit to the data of Benson and Krause."""
    x = log((298.15 - t) / (273.15 + t))
    ml = exp(2.00907 + 3.22014 * x + 4.05010 * x**2 + 4.94457 * x**3 - 0.256847 * x**4 + 3.88767 * x**5)
    return 1.42905 * ml


def chain():
    """The worked example: a 355 mL can read cold."""
    t, gross, tare, capacity, sg, do, air = 4.0, 372.4, 13.4, 373.5, 1.0105, 48.0, 1.2
    k = t + 273.15
    c, u, th = saturation(t), vapour(t), theta(t)
    ratio, water = partition(t), tanaka(t)
    rho = sg * water
    beer = (gross - tare) * 1000 * (1 - air / 8000) / (rho - air)
    head = capacity - beer
    factor = 1 + ratio * head / beer
    return {
        "T_K": k, "C_star_mg_l": c, "P_wv_atm": u, "theta": th, "K": ratio, "rho_w": water, "rho_b": rho,
        "V_b_ml": beer, "V_h_ml": head, "total_to_dissolved": factor, "TPO_ppb": do * factor,
        "oxygen_ug": do * factor * beer / 1000, "liquid_ug": do * beer / 1000, "headspace_ug": do * ratio * head / 1000,
        "headspace_share": ratio * head / (beer + ratio * head),
    }


def pressure_factor(t, pa):
    """Factor on K under CO2; cross coefficient and molar volume from memory."""
    k = t + 273.15
    b22 = (-1636.75 + 12.0408 * k - 3.27957e-2 * k**2 + 3.16528e-5 * k**3) * 1e-6
    b12 = (-57 + (t - 5) * 7 / 15) * 1e-6
    p_rt = pa / (R * k)
    return exp(31e-6 * p_rt) / (exp((2 * b12 - b22) * p_rt) * (1 + b22 * p_rt))


def corrections(volumes=2.5):
    """What CO2 of the example can changes, ppb: its density and gas weight, its pressure."""
    t, gross, tare, capacity, sg, do, air = 4.0, 372.4, 13.4, 373.5, 1.0105, 48.0, 1.2
    grams = volumes * 1.9767
    bar = grams / (10 * exp(-10.73797 + 2617.25 / (t + 273.15)))
    gas = co2_gas(t, bar * 1e5)
    plain = sg * tanaka(t)
    rho = plain + density_rise(t, grams, plain)
    net = (gross - tare) * 1000 * (1 - air / 8000)
    v0 = net / (plain - air)
    v1 = (net - (gas - air) * capacity) / (rho - gas)
    k = partition(t)
    total = lambda v, ratio: do * (1 + ratio * (capacity - v) / v)
    return {
        "plain_ppb": total(v0, k),
        "co2_change_ppb": total(v1, k) - total(v0, k),
        "pressure_change_ppb": total(v0, k * pressure_factor(t, bar * 1e5)) - total(v0, k),
    }


def tables():
    temperatures = range(41)
    return {
        "air_saturation_mg_l": [[t, saturation(t)] for t in temperatures],
        "air_saturation_at_mg_l": [[t, p, saturation_at(t, p / 101.325)] for t in (0, 4, 12, 20, 40) for p in (55.0, 80.0, 97.7, 104.0)],
        "partition": [[t, partition(t)] for t in temperatures],
        "partition_iupac": [[t, partition_iupac(t)] for t in temperatures],
        "water_kg_m3": [[t, tanaka(t)] for t in temperatures],
        "saturation_kpa": [[t, wagner_pruss(t)] for t in temperatures if t],
        "air_kg_m3": [[t, p, h, cipm(t, p * 1000, h)] for t in (15, 20, 27) for p in (70.0, 101.325) for h in (0.0, 0.5, 0.9)],
        "co2_g_l": [[t, p, co2_beer(t, p / 100)] for t in (0, 5, 20) for p in (101.325, 250.0)],
        "co2_water_g_l": [[t, p, weiss_water(t, p * 1000)] for t in (0, 5, 20) for p in (101.325, 300.0)],
        "co2_rise_kg_m3": [[t, g, density_rise(t, g, 1008)] for t in (0, 5, 20) for g in (3.0, 5.2)],
        "pressure_factor": [[t, p, pressure_factor(t, p * 1000)] for t in (0, 5, 20) for p in (101.325, 300.0, 600.0)],
        "sucrose_kg_m3": [[w, t, icumsa(w, t)] for w in (0.02, 0.05, 0.1, 0.15, 0.25) for t in (0, 5, 20, 30)],
        "plato": [[sg, plato(sg)] for sg in (1.003, 1.005, 1.0105, 1.02, 1.048, 1.08, 1.11)],
        "real_extract": [[oe, ae, balling(oe, ae)[0]] for oe in (10, 12, 20) for ae in (1.8, 5)],
        "alcohol_by_mass_pct": [[oe, ae, balling(oe, ae)[1]] for oe in (10, 12, 20) for ae in (1.8, 5)],
        "garcia_gordon_mg_l": [[t, garcia_gordon(t)] for t in temperatures],
        "co2_gas_kg_m3": [[t, p, co2_gas(t, p * 1000)] for t in (0, 5, 20) for p in (101.325, 300.0)],
    }


if __name__ == "__main__":
    if sys.argv[1:] == ["chain"]:
        for name, value in (chain() | corrections()).items():
            print(f"{name:20s} {value:.8g}")
    else:
        print(json.dumps(tables()))

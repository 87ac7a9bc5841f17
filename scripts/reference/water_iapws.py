"""Density and saturation pressure of water by the iapws library.

Needs python3-iapws. Density from IAPWS-95 at 101.325 kPa, saturation pressure
from the IAPWS-IF97 line, which is another formula than the program's (Wagner
and Pruss 2002, eq. 2.5). Prints JSON. It imports nothing of the program.
"""
import json

import iapws
from iapws import IAPWS95
from iapws.iapws97 import _PSat_T

points = []
for t in (0.01, 4, 10, 15, 20, 25, 30, 35, 40):
    kelvin = t + 273.15
    points.append({
        "temperature_c": t,
        "density_kg_m3": IAPWS95(T=kelvin, P=0.101325).rho,
        "saturation_kpa": 1000 * _PSat_T(kelvin),
    })
print(json.dumps({"iapws": iapws.__version__, "points": points}))

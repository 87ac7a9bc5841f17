"""Reconciled readings of a batch by SciPy's non-negative least squares.

Needs python3-scipy. Reads a JSON list of ways on stdin. A way is a list of
readings in flow order: do_ppb, meter, from (list of [place, share]), free (its
pickup may be below zero). Prints for each the reconciled values and chi-square.

The way is written as c = M theta with a pickup for each reading, sources and
pickups not below zero (a free one as a difference of two), and solved as a
whitened non-negative least squares: another route than the program's dual. The
covariance is written here again from docs/method.md (eq. 41, 46). It imports
nothing of the program.
"""
import json
import sys

import numpy
from scipy.linalg import solve_triangular
from scipy.optimize import nnls


def covariance(way):
    n = len(way)
    sigma = numpy.zeros((n, n))
    common = []
    for i, r in enumerate(way):
        meter = max(1.0, 0.02 * abs(r["do_ppb"]))
        common.append(meter * 0.5**0.5)
        sigma[i, i] += 0.5 * meter**2 + 1.5**2
    for i in range(n):
        for j in range(n):
            if way[i]["meter"] == way[j]["meter"]:
                sigma[i, j] += common[i] * common[j]
    return sigma


def reconcile(way):
    n = len(way)
    columns = []
    for k, r in enumerate(way):
        # what one ppb of pickup at k does to every reading after it
        effect = numpy.zeros(n)
        effect[k] = 1
        for i in range(k + 1, n):
            effect[i] = sum(share * effect[j] for j, share in way[i]["from"])
        columns.append(effect)
        if r["free"]:
            columns.append(-effect)
    m = numpy.array(columns).T
    y = numpy.array([r["do_ppb"] for r in way])
    sigma = covariance(way)
    low = numpy.linalg.cholesky(sigma)
    theta, _ = nnls(solve_triangular(low, m, lower=True), solve_triangular(low, y, lower=True), maxiter=100 * n + 1000)
    c = m @ theta
    d = solve_triangular(low, c - y, lower=True)
    return {"values": c.tolist(), "chi2": float(d @ d)}


json.dump([reconcile(w) for w in json.load(sys.stdin)], sys.stdout)

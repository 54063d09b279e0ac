#!/usr/bin/env python3
"""Reference values for screening and sensitivity (../../src/screen.rs, sensitivity.rs), by scipy.

    python3 screen.py            writes screen.json beside this file
    python3 screen.py --check    computes everything again and compares with screen.json

Needs numpy and scipy.

noncentral     tail of noncentral chi-square: x, degrees of freedom, lambda, value
noncentrality  alpha, degrees of freedom, power, value: by root search on scipy.stats.ncx2
outlier        readings with one reference point displaced; T_i of each point as what freeing that
               point takes off the weighted sum of squares, both by scipy.optimize.least_squares
"""

import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.optimize import brentq, least_squares
from scipy.spatial.transform import Rotation
from scipy.stats import chi2, ncx2

FILE = pathlib.Path(__file__).with_suffix(".json")


def noncentrality(alpha, dof, power):
    critical = chi2.isf(alpha, dof)
    return float(brentq(lambda lam: ncx2.sf(critical, dof, lam) - power, 1e-9, 500, xtol=1e-13))


def sum_of_squares(reading, target, u):
    a, b = reading.mean(axis=0), target.mean(axis=0)
    turn, _ = Rotation.align_vectors(target - b, reading - a)

    def residual(m):
        x = (Rotation.from_rotvec(m[:3]) * turn).apply(reading - a) + b + m[3:]
        return ((x - target) / u[:, None]).ravel()

    found = least_squares(
        residual, np.zeros(6), method="lm", x_scale=[1e-3] * 3 + [1] * 3,
        xtol=1e-15, ftol=1e-15, gtol=1e-15,
    )
    return 2 * found.cost


def outlier(rng, n):
    target = rng.uniform([-700, -650, 0], [3100, 650, 700], size=(n, 3))
    u = rng.uniform(0.3, 1.0, size=n)
    reading = target + rng.normal(size=(n, 3)) * u[:, None]
    reading[int(rng.integers(n))] += rng.normal(size=3) * 3
    turn = Rotation.random(random_state=rng)
    reading = turn.apply(reading) + rng.uniform(-3000, 3000, size=3)
    total = sum_of_squares(reading, target, u)
    freed = []
    for i in range(n):
        rest = [k for k in range(n) if k != i]
        freed.append(total - sum_of_squares(reading[rest], target[rest], u[rest]))
    return {
        "reading": reading.tolist(),
        "target": target.tolist(),
        "u": u.tolist(),
        "chi2": total,
        "t": freed,
    }


def compute():
    rng = np.random.default_rng(20260102)
    return {
        "made_by": "screen.py with scipy",
        "noncentral": [
            [x, dof, lam, float(ncx2.sf(x, dof, lam))]
            for x in (0.5, 10.86, 40.0)
            for dof in (1, 3, 12)
            for lam in (0.0, 0.7, 15.0, 120.0)
        ],
        "noncentrality": [
            [alpha, dof, power, noncentrality(alpha, dof, power)]
            for alpha in (0.05, 0.05 / 4, 0.05 / 5, 0.05 / 6, 0.05 / 8, 0.05 / 12, 0.001)
            for dof in (1, 2, 3)
            for power in (0.8, 0.95)
        ],
        "outlier": [outlier(rng, n) for n in (4, 5, 6, 8, 12)],
    }


def same(a, b):
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return abs(a - b) <= 1e-7 * max(1e-3, abs(a))
    return a == b


def main():
    found = compute()
    if "--check" in sys.argv[1:]:
        stored = json.loads(FILE.read_text())
        wrong = [k for k in {*stored, *found} if not same(stored.get(k), found.get(k))]
        print(
            f"differs: {', '.join(sorted(wrong))}"
            if wrong
            else f"screen.json agrees with scipy {scipy.__version__}"
        )
        sys.exit(1 if wrong else 0)
    FILE.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()

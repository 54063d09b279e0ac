#!/usr/bin/env python3
"""Reference values for verdicts and distributions (../../src/verdict.rs, stats.rs), by scipy.

    python3 verdict.py            writes verdict.json beside this file
    python3 verdict.py --check    computes everything again and compares with verdict.json

Needs scipy. Each list holds the arguments and then the value.
"""

import json
import pathlib
import sys

import scipy
from scipy.stats import chi2, norm, t

FILE = pathlib.Path(__file__).with_suffix(".json")


def inside(d, u, limit, cdf):
    return float(cdf((limit - d) / u) - cdf((-limit - d) / u))


def compute():
    deviations = [-7.5, -3.0, -2.2, -0.4, 0.0, 0.9, 2.9, 3.1, 4.6]
    cases = [(d, u, limit) for d in deviations for u in (0.1, 0.5, 1.6) for limit in (1.5, 3.0)]
    tails = [(-9.0, 0.5), (-5.0, 0.5), (-1.0, 0.5), (0.0, 0.5), (1.5, 1.0), (4.0, 1.0)]
    return {
        "made_by": "verdict.py with scipy",
        "inside_normal": [[*c, inside(*c, norm.cdf)] for c in cases],
        "inside_student": [
            [*c, dof, inside(*c, lambda z, dof=dof: t.cdf(z, dof))]
            for c in cases[::4]
            for dof in (3, 6, 12)
        ],
        "phi": [[z, float(norm.cdf(z))] for z, _ in tails],
        "phi_inverse": [[p, float(norm.ppf(p))] for p in (1e-9, 0.025, 0.3, 0.5, 0.95, 0.999)],
        "chi2_exceeds": [
            [x, dof, float(chi2.sf(x, dof))]
            for dof in (1, 3, 6, 12, 30)
            for x in (0.1, 3.0, 14.8, 60.0)
        ],
        "chi2_critical": [
            [alpha, dof, float(chi2.isf(alpha, dof))]
            for dof in (1, 3, 6, 12, 30)
            for alpha in (0.5, 0.05, 0.0125, 1e-4)
        ],
        "student_t_inverse": [
            [p, dof, float(t.ppf(p, dof))] for dof in (3, 6, 12, 30) for p in (0.05, 0.5, 0.975)
        ],
    }


def main():
    found = compute()
    if "--check" in sys.argv[1:]:
        stored = json.loads(FILE.read_text())
        wrong = [k for k in {*stored, *found} if not same(stored.get(k), found.get(k))]
        print(
            f"differs: {', '.join(sorted(wrong))}"
            if wrong
            else f"verdict.json agrees with scipy {scipy.__version__}"
        )
        sys.exit(1 if wrong else 0)
    FILE.write_text(json.dumps(found, indent=1) + "\n")


def same(a, b):
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return abs(a - b) <= 1e-10 * abs(a) + 1e-300
    return a == b


if __name__ == "__main__":
    main()

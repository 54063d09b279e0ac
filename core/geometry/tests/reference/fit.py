#!/usr/bin/env python3
"""Reference values for the set-up (../../src/fit.rs), by scipy.

    python3 fit.py            writes fit.json beside this file
    python3 fit.py --check    computes everything again and compares with fit.json

Needs numpy and scipy. Three kinds of seeded random problems:

equal        Rotation.align_vectors about the centroids (the closed form, one weight for all).
weighted     scipy.optimize.least_squares on whitened residuals, each point with its own full
             covariances, repeated until the rotation inside the covariances no longer changes.
             The covariance C comes from the numerical Jacobian at the solution.
without      for one reference point of each weighted problem: its deviation in the set-up that
             least_squares finds from the others, and that deviation's covariance.
"""

import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

FILE = pathlib.Path(__file__).with_suffix(".json")


def problem(rng, n, noise):
    """Readings in an arbitrary frame, and sheet positions the size of a vehicle (mm)."""
    target = rng.uniform([-700, -650, 0], [3100, 650, 700], size=(n, 3))
    turn = Rotation.random(random_state=rng)
    shift = rng.uniform(-4000, 4000, size=3)
    reading = turn.inv().apply(target - shift) + rng.normal(scale=noise, size=(n, 3))
    return reading, target


def covariance(rng, low, high):
    """A full covariance whose standard uncertainties differ by direction (mm^2)."""
    axes = Rotation.random(random_state=rng).as_matrix()
    return axes @ np.diag(rng.uniform(low, high, size=3) ** 2) @ axes.T


def equal(rng, n):
    reading, target = problem(rng, n, 1.0)
    a, b = reading.mean(axis=0), target.mean(axis=0)
    turn, _ = Rotation.align_vectors(target - b, reading - a)
    rotation = turn.as_matrix()
    return {
        "reading": reading.tolist(),
        "target": target.tolist(),
        "rotation": rotation.tolist(),
        "translation": (b - rotation @ a).tolist(),
    }


def fit(reading, target, own, printed):
    """The weighted rigid fit: rotation, translation, centroid, C, chi-square."""
    a, b = reading.mean(axis=0), target.mean(axis=0)
    turn, _ = Rotation.align_vectors(target - b, reading - a)
    shift = b - turn.as_matrix() @ a
    for _ in range(100):
        r = turn.as_matrix()
        weights = [np.linalg.inv(r @ q @ r.T + p) for q, p in zip(own, printed)]
        whiten = [np.linalg.cholesky(w).T for w in weights]
        x0 = reading @ r.T + shift
        traces = np.array([np.trace(w) for w in weights])
        c = traces @ x0 / traces.sum()

        def residual(m):
            x = Rotation.from_rotvec(m[:3]).apply(x0 - c) + c + m[3:]
            return np.concatenate([h @ d for h, d in zip(whiten, x - target)])

        found = least_squares(
            residual, np.zeros(6), jac="3-point", method="lm",
            x_scale=[1e-3] * 3 + [1] * 3, xtol=1e-15, ftol=1e-15, gtol=1e-15,
        )
        step = Rotation.from_rotvec(found.x[:3])
        turn = step * turn
        shift = step.apply(shift - c) + c + found.x[3:]
        if np.abs(found.x * ([1000] * 3 + [1] * 3)).max() < 1e-9:
            return {
                "rotation": turn.as_matrix(),
                "translation": shift,
                "centroid": c,
                "covariance": np.linalg.inv(found.jac.T @ found.jac),
                "chi2": 2 * found.cost,
            }
    raise RuntimeError("did not settle")


def jacobian(arm):
    x, y, z = arm
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.hstack([-cross, np.eye(3)])


def weighted(rng, n):
    reading, target = problem(rng, n, 0.5)
    own = np.array([covariance(rng, 0.1, 1.5) for _ in range(n)])
    printed = np.array([covariance(rng, 0.05, 0.6) for _ in range(n)])
    found = fit(reading, target, own, printed)
    i = int(rng.integers(n))
    rest = [k for k in range(n) if k != i]
    case = {
        "reading": reading, "target": target, "own": own, "printed": printed, **found,
    }
    if len(rest) >= 3:
        others = fit(reading[rest], target[rest], own[rest], printed[rest])
        x = others["rotation"] @ reading[i] + others["translation"]
        j = jacobian(x - others["centroid"])
        r = found["rotation"]
        case["without"] = {
            "index": i,
            "deviation": x - target[i],
            "covariance": r @ own[i] @ r.T + printed[i] + j @ others["covariance"] @ j.T,
        }
    return plain(case)


def plain(value):
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return value.tolist()
    return value


def compute():
    rng = np.random.default_rng(20260101)
    return {
        "made_by": "fit.py with scipy",
        "equal": [equal(rng, n) for n in (3, 4, 5, 6, 8, 12)],
        "weighted": [weighted(rng, n) for n in (3, 4, 5, 6, 8, 12)],
    }


def differences(path, stored, found):
    """Where two results differ by more than rounding may, and the numerical Jacobian with it:
    its last digits depend on the processor and on the version of scipy."""
    if isinstance(stored, dict):
        if stored.keys() != found.keys():
            yield f"{path}: {sorted(stored)} is now {sorted(found)}"
            return
        for key in stored:
            yield from differences(f"{path}/{key}", stored[key], found[key])
    elif isinstance(stored, list):
        if len(stored) != len(found):
            yield f"{path}: length {len(stored)} is now {len(found)}"
            return
        for k, (a, b) in enumerate(zip(stored, found)):
            yield from differences(f"{path}/{k}", a, b)
    elif isinstance(stored, float):
        if abs(stored - found) > 1e-6 * max(1e-2, abs(stored)):
            yield f"{path}: {stored} is now {found}"
    elif stored != found:
        yield f"{path}: {stored} is now {found}"


def main():
    found = compute()
    if "--check" in sys.argv[1:]:
        wrong = list(differences("", json.loads(FILE.read_text()), found))
        print("\n".join(wrong) or f"fit.json agrees with scipy {scipy.__version__}")
        sys.exit(1 if wrong else 0)
    FILE.write_text(json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()

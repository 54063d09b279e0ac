#!/usr/bin/env python3
"""Reference answers for the move of a part, from scipy.

Writes correct.json beside this file; with --check, computes everything again and
compares it with the stored file instead. Needs numpy and scipy.

Least squares: scipy.optimize.least_squares on rotation vectors, Jacobian by
finite differences, from the identity. Covariances: from that Jacobian.
Minimax: scipy.optimize.linprog (HiGHS) on the primal program, relinearised; the
order "worst first, then the next worst" by asking, for each reading, whether it
can be made smaller without making the worst worse: no dual values are used, so
the method shares nothing with the Rust one.
"""

import json
import pathlib
import sys

import numpy as np
from scipy.optimize import least_squares, linprog
from scipy.spatial.transform import Rotation

STORE = pathlib.Path(__file__).with_suffix(".json")


def transform(kind, geometry, points, m):
    """The points after the move with parameters m (push in mm, turn in rad)."""
    centroid = points.mean(axis=0)
    if kind == "free":
        return centroid + Rotation.from_rotvec(m[3:]).apply(points - centroid) + m[:3]
    along = np.array(geometry["along"]) / np.linalg.norm(geometry["along"])
    if kind == "slide":
        return points + m[0] * along
    axis = np.array(geometry["axis"]) / np.linalg.norm(geometry["axis"])
    through = np.array(geometry["through"])
    return through + Rotation.from_rotvec(m[1] * axis).apply(points - through) + m[0] * along


FREEDOMS = {"free": 6, "slide": 1, "slide_and_turn": 2}


def scales(kind):
    """Freedoms in comparable millimetres: a turn of 1/400 is 1 mm at 400 mm."""
    return {
        "free": np.array([1, 1, 1, 1 / 400, 1 / 400, 1 / 400]),
        "slide": np.array([1.0]),
        "slide_and_turn": np.array([1, 1 / 400]),
    }[kind]


def jacobian(kind, geometry, points, m):
    """Central differences with a step that is exact to about 1e-9."""
    columns = []
    for k, s in enumerate(scales(kind)):
        h = 0.01 * s
        step = np.zeros(len(m))
        step[k] = h
        def at(f):
            return transform(kind, geometry, points, m + f * step).ravel()
        columns.append((8 * (at(1) - at(-1)) - (at(2) - at(-2))) / (12 * h))
    return np.array(columns).T


def weights(limits):
    given = [t for row in limits for t in row if t is not None]
    loosest = max(given) if given else 1.0
    return np.array([[1 / (t or loosest) ** 2 for t in row] for row in limits]).ravel()


def best(case):
    points, targets = np.array(case["position"]), np.array(case["target"])
    kind, geometry = case["kind"], case["geometry"]
    w = weights(case["limits"])
    s = scales(kind)

    def residual(v):
        return np.sqrt(w) * (transform(kind, geometry, points, v * s) - targets).ravel()

    found = least_squares(residual, np.zeros(len(s)), xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=2000)
    m = found.x * s
    # Polish: the optimiser's differences stop at about 1e-8.
    for _ in range(20):
        g = jacobian(kind, geometry, points, m)
        r = (transform(kind, geometry, points, m) - targets).ravel()
        gw = g.T * w
        m = m - np.linalg.solve(gw @ g, gw @ r)
    g = jacobian(kind, geometry, points, m)
    gain = np.linalg.solve((g.T * w) @ g, g.T * w)
    sigma = np.array(case["covariance"])
    kept = np.eye(len(w)) - g @ gain
    root = lambda c: np.sqrt(np.clip(np.diag(c), 0, None)).reshape(-1, 3).tolist()
    return {
        "displacement": (transform(kind, geometry, points, m) - points).tolist(),
        "displacement_u": root(g @ gain @ sigma @ gain.T @ g.T),
        "misfit_u": root(kept @ sigma @ kept.T),
        "move_u": np.sqrt(np.diag(gain @ sigma @ gain.T)).tolist() if kind == "free" else None,
    }


def worst_first(d, g):
    """The step that makes |d + g m| smallest, worst first; d and g in units of the limits."""
    n, f = g.shape
    held_rows, held_values = [], []
    free_rows = list(range(n))
    levels = []
    options = dict(method="highs", options=dict(primal_feasibility_tolerance=1e-10, dual_feasibility_tolerance=1e-10))
    while free_rows:
        def program(objective, cap=None):
            a, b = [], []
            for k in free_rows:
                for sign in (1, -1):
                    a.append(np.append(sign * g[k], -1 if cap is None else 0))
                    b.append(-sign * d[k] + (0 if cap is None else cap))
            for k, value in zip(held_rows, held_values):
                for sign in (1, -1):
                    a.append(np.append(sign * g[k], 0))
                    b.append(-sign * d[k] + value)
            bounds = [(None, None)] * f + [(0, None)]
            return linprog(objective, A_ub=np.array(a), b_ub=np.array(b), bounds=bounds, **options)

        solved = program(np.append(np.zeros(f), 1))
        assert solved.status == 0, solved.message
        z = solved.x[f]
        m = solved.x[:f]
        levels.append(z)
        cap = z + 1e-9
        stuck = []
        for k in free_rows:
            # Can this reading leave both ends of +-z?
            value = d[k] + g[k] @ m
            if abs(value) < z - 1e-6:
                continue
            sign = np.sign(value) or 1.0
            least = program(np.append(sign * g[k], 0), cap)
            assert least.status == 0, least.message
            if sign * d[k] + least.fun > z - 1e-5:
                stuck.append(k)
        assert stuck
        held_rows += stuck
        held_values += [z + 1e-10] * len(stuck)
        free_rows = [k for k in free_rows if k not in stuck]
        if np.linalg.matrix_rank(g[held_rows], tol=1e-9) == f:
            break
    return m, levels[0]


def minimax(case):
    points, targets = np.array(case["position"]), np.array(case["target"])
    kind, geometry = case["kind"], case["geometry"]
    t = np.array([[x if x is not None else np.nan for x in row] for row in case["limits"]]).ravel()
    limited = ~np.isnan(t)
    s = scales(kind)
    m = np.zeros(len(s))
    for _ in range(12):
        g = (jacobian(kind, geometry, points, m) * s)[limited] / t[limited, None]
        d = (transform(kind, geometry, points, m) - targets).ravel()[limited] / t[limited]
        step, _ = worst_first(d, g)
        m = m + step * s
        if np.abs(step).max() < 1e-7:
            break
    deviation = (transform(kind, geometry, points, m) - targets).ravel()
    return {
        "worst": float(np.max(np.abs(deviation[limited]) / t[limited])),
        "displacement": (transform(kind, geometry, points, m) - points).tolist(),
    }


def cases(rng):
    for number in range(36):
        kind = ["free", "slide", "slide_and_turn"][number % 3]
        n = int(rng.integers(3, 9))
        target = np.array([3000.0, 500.0, 400.0]) + rng.normal(0, [300, 120, 120], (n, 3))
        turn = Rotation.from_rotvec(rng.normal(0, 0.01, 3))
        centre = target.mean(axis=0)
        position = centre + turn.apply(target - centre) + rng.normal(0, 5, 3) + rng.normal(0, 1, (n, 3))
        limits = [[float(x) for x in row] for row in np.round(rng.uniform(0.8, 5, (n, 3)), 1)]
        if number % 4 == 1:
            limits[0][1] = None
            limits[-1][2] = None
        root = rng.normal(0, 0.3, (3 * n, 3 * n)) / np.sqrt(3 * n)
        direction = rng.normal(0, 1, 3) if number % 2 else np.eye(3)[number % 9 // 3]
        geometry = {}
        if kind != "free":
            geometry["along"] = direction.tolist()
        if kind == "slide_and_turn":
            geometry["axis"] = (direction if number % 4 < 2 else rng.normal(0, 1, 3)).tolist()
            geometry["through"] = (centre + rng.normal(0, 100, 3)).tolist()
        case = {
            "kind": kind,
            "geometry": geometry,
            "position": position.tolist(),
            "target": target.tolist(),
            "limits": limits,
            "covariance": (root @ root.T + 0.04 * np.eye(3 * n)).tolist(),
        }
        # The stored numbers are the input, so round before solving.
        case = json.loads(json.dumps(case), parse_float=lambda x: round(float(x), 6))
        case["best"] = best(case)
        case["minimax"] = minimax(case)
        yield case


def difference(a, b):
    if isinstance(a, dict):
        assert a.keys() == b.keys()
        return max((difference(a[k], b[k]) for k in a), default=0.0)
    if isinstance(a, list):
        assert len(a) == len(b)
        return max((difference(x, y) for x, y in zip(a, b)), default=0.0)
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b)
    assert a == b, (a, b)
    return 0.0


def main():
    fresh = {"made_by": "correct.py", "cases": list(cases(np.random.default_rng(20240611)))}
    fresh = json.loads(json.dumps(fresh), parse_float=lambda x: round(float(x), 9))
    if "--check" in sys.argv:
        worst = difference(fresh, json.loads(STORE.read_text()))
        print(f"correct.json: {len(fresh['cases'])} cases, largest difference {worst:.2e}")
        return 0 if worst < 1e-6 else 1
    STORE.write_text(json.dumps(fresh, separators=(",", ":")) + "\n")
    print(f"wrote {STORE.name}: {len(fresh['cases'])} cases, {STORE.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())

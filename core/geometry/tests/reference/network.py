#!/usr/bin/env python3
"""Reference values for the network adjustment (../../src/network/), by scipy and PyGeodesy.

    python3 network.py            writes network.json beside this file
    python3 network.py --check    computes everything again and compares with network.json

Needs numpy and scipy, and pygeodesy for the last; without it --check says what it skipped. Seeded random problems:

held          some points held rigidly or with a covariance; every kind of figure.
              scipy.optimize.least_squares on whitened residuals, Jacobian by finite differences;
              covariance by inverting J'J; redundancy numbers from the diagonal of the projector
              I - J (J'J)^-1 J'; chi-square and normal quantiles from scipy.stats.
folded        the same with one point for both sides: spans and diagonals.
free          nothing held. least_squares on an over-parametrised problem, then the solution is
              laid onto the stated positions by Rotation.align_vectors (true distances) or by the
              plane's own closed form (with level distances and heights). Covariance by
              scipy.linalg.pinvh. Laid onto a few points: the covariance from the bordered normal
              matrix [[N, C'], [C, 0]]^-1 with the constraints C over these points, which shares
              nothing with the S-transformation that the Rust code uses.
detectable    the smallest detectable blunder from the exact non-central chi-square.
trilateration pygeodesy's trilaterate3d2.
"""

import json
import pathlib
import sys

import numpy as np
import scipy
from scipy.linalg import pinvh
from scipy.optimize import brentq, least_squares
from scipy.spatial.transform import Rotation
from scipy.stats import chi2, ncx2, norm

try:
    import pygeodesy
    from pygeodesy import Vector3d, trilaterate3d2
except ImportError:
    pygeodesy = None

FILE = pathlib.Path(__file__).with_suffix(".json")
ALPHA, POWER = 0.05, 0.80


def predict(figure, at):
    kind, points = figure["kind"], figure["points"]
    a = at[points[0]]
    b = at[points[1]] if len(points) > 1 else None
    if kind == "true_distance":
        return np.linalg.norm(b - a)
    if kind == "level_distance":
        return np.hypot(*(b - a)[:2])
    if kind == "length":
        return abs(b[0] - a[0])
    if kind == "width":
        return b[1] - a[1]
    if kind == "height_difference":
        return b[2] - a[2]
    if kind == "span":
        return 2 * abs(a[1])
    if kind in ("true_diagonal", "level_diagonal"):
        d = b * [1, -1, 1] - a
        return np.linalg.norm(d) if kind == "true_diagonal" else np.hypot(*d[:2])
    return a["xyz".index(kind)]


def solve(points, figures):
    """Positions by least squares, the movable points, and the whitened residuals' function."""
    stated = np.array([p["stated"] for p in points])
    movable = [i for i, p in enumerate(points) if p.get("u") != 0]
    known = [(i, points[i]["u"]) for i in movable if points[i].get("u")]

    def residuals(x):
        at = stated.copy()
        at[movable] = x.reshape(-1, 3)
        r = [(f["value"] - predict(f, at)) / f["u"] for f in figures]
        for i, u in known:
            r.extend((stated[i] - at[i]) / u)
        return np.array(r)

    x = stated[movable].ravel()
    for _ in range(3):
        x = least_squares(
            residuals, x, jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=300
        ).x
    at = stated.copy()
    at[movable] = x.reshape(-1, 3)
    return at, movable, residuals


def jacobian(residuals, at, movable):
    """Derivative of the predictions by central differences."""
    x = at[movable].ravel()
    columns = []
    for k in range(len(x)):
        h = 1e-3
        plus, minus = x.copy(), x.copy()
        plus[k] += h
        minus[k] -= h
        columns.append((residuals(minus) - residuals(plus)) / (2 * h))
    return np.array(columns).T


def judged(jac, q, v, figures, dof):
    r = 1 - np.einsum("ij,jk,ik->i", jac, q, jac)
    n = len(figures)
    checked = r[:n] >= 0.01
    critical = norm.isf(ALPHA / checked.sum() / 2)
    delta = critical + norm.isf(1 - POWER)
    return {
        "chi2": float(v @ v),
        "dof": dof,
        "p": float(chi2.sf(v @ v, dof)),
        "critical_w": float(critical),
        "redundancy": r[:n].tolist(),
        "w": [float(v[i] / np.sqrt(r[i])) if checked[i] else None for i in range(n)],
        "blunder": [
            float(figures[i]["u"] * delta / np.sqrt(r[i])) if checked[i] else None
            for i in range(n)
        ],
    }


def vehicle(rng, pairs):
    x = np.linspace(-600, 3300, pairs) + rng.uniform(-60, 60, pairs)
    y = rng.uniform(350, 640, pairs)
    z = rng.uniform(0, 600, pairs)
    left = np.column_stack([x, -y, z])
    return np.stack([left, left * [1, -1, 1]], axis=1).reshape(-1, 3)


def measured(rng, at, kind, points, u):
    figure = {"kind": kind, "points": [int(p) for p in points], "u": u}
    figure["value"] = float(predict(figure, at) + u * rng.normal())
    return figure


def pairs_of(rng, n, count):
    every = [(a, b) for b in range(n) for a in range(b)]
    return [every[i] for i in rng.permutation(len(every))[:count]]


def answered(points, figures):
    at, movable, residuals = solve(points, figures)
    jac = jacobian(residuals, at, movable)
    v = residuals(at[movable].ravel())
    q = np.linalg.inv(jac.T @ jac)
    answer = judged(jac, q, v, figures, len(v) - 3 * len(movable))
    answer |= {"positions": at[movable].tolist(), "movable": movable, "covariance": q.tolist()}
    return {"points": points, "figures": figures, "laid_onto": [], "answer": answer}


def held(seed):
    rng = np.random.default_rng(seed)
    truth = vehicle(rng, 4)
    n = len(truth)
    figures = []
    for k, (a, b) in enumerate(pairs_of(rng, n, 20)):
        kind = ["true_distance", "level_distance"][k % 2]
        figures.append(measured(rng, truth, kind, (a, b), 0.5))
    for a, b in pairs_of(rng, n, 6):
        if abs(truth[a, 0] - truth[b, 0]) > 300:
            figures.append(measured(rng, truth, "length", (a, b), 0.7))
        figures.append(measured(rng, truth, "height_difference", (a, b), 0.6))
    for p in range(4, n):
        figures.append(measured(rng, truth, "z", (p,), 1.0))
    figures.append(measured(rng, truth, "width", (6, 7), 0.8))
    figures.append(measured(rng, truth, "x", (5,), 0.9))
    points = []
    for i in range(n):
        point = {"stated": (truth[i] + rng.normal(scale=2.0, size=3)).tolist()}
        if i < 2:
            point = {"stated": truth[i].tolist(), "u": 0.0}
        elif i < 4:
            point = {"stated": (truth[i] + rng.normal(scale=0.4, size=3)).tolist(), "u": 0.4}
        points.append(point)
    return answered(points, figures)


def folded(seed):
    rng = np.random.default_rng(seed)
    truth = vehicle(rng, 6)[1::2]
    n = len(truth)
    figures = []
    for p in range(n):
        figures.append(measured(rng, truth, "span", (p,), 0.3))
        figures.append(measured(rng, truth, "z", (p,), 0.3))
    for k, (a, b) in enumerate(pairs_of(rng, n, 12)):
        kind = ["true_diagonal", "level_diagonal"][k % 2]
        figures.append(measured(rng, truth, kind, (a, b), 0.4))
    for a, b in pairs_of(rng, n, 6):
        figures.append(measured(rng, truth, "true_distance", (a, b), 0.3))
    points = [{"stated": p.tolist()} for p in truth + rng.normal(scale=1.0, size=truth.shape)]
    points[0] = {"stated": truth[0].tolist(), "u": 0.3}
    return answered(points, figures)


def motions(at, level):
    """The rigid motions that change no figure, as columns over all coordinates."""
    columns = []
    for k in range(3):
        if not (level and k == 2):
            columns.append(np.tile(np.eye(3)[k], len(at)))
    for k in range(3):
        if not level or k == 2:
            columns.append(np.cross(np.eye(3)[k], at - at.mean(axis=0)).ravel())
    return np.array(columns).T


def lay(at, onto, places, level):
    """`at` moved as one body so that the places come nearest to `onto`."""
    p, q = at[places], onto[places]
    if not level:
        turn, _ = Rotation.align_vectors(q - q.mean(axis=0), p - p.mean(axis=0))
        return turn.apply(at - p.mean(axis=0)) + q.mean(axis=0)
    pc, qc = (p - p.mean(axis=0))[:, :2], (q - q.mean(axis=0))[:, :2]
    angle = np.arctan2(
        np.sum(pc[:, 0] * qc[:, 1] - pc[:, 1] * qc[:, 0]), np.sum(pc * qc)
    )
    c, s = np.cos(angle), np.sin(angle)
    laid = at.copy()
    laid[:, :2] = (at - p.mean(axis=0))[:, :2] @ np.array([[c, s], [-s, c]])
    laid[:, :2] += q.mean(axis=0)[:2]
    return laid


def free(seed, level, places):
    rng = np.random.default_rng(seed)
    truth = vehicle(rng, 4)
    n = len(truth)
    figures = []
    for k, (a, b) in enumerate(pairs_of(rng, n, 26)):
        kind = "level_distance" if level and k % 2 else "true_distance"
        figures.append(measured(rng, truth, kind, (a, b), 0.5))
    if level:
        figures += [measured(rng, truth, "z", (p,), 1.0) for p in range(n)]
    points = [{"stated": p.tolist()} for p in truth + rng.normal(scale=2.0, size=truth.shape)]
    stated = np.array([p["stated"] for p in points])
    at, movable, residuals = solve(points, figures)
    at = lay(at, stated, places or list(range(n)), level)
    jac = jacobian(residuals, at, movable)
    v = residuals(at.ravel())
    normal = jac.T @ jac
    g = motions(at, level)
    if places:
        mask = np.isin(np.arange(n), places).repeat(3)
        c = (g * mask[:, None]).T
        k = len(c)
        bordered = np.block([[normal, c.T], [c, np.zeros((k, k))]])
        q = np.linalg.inv(bordered)[: 3 * n, : 3 * n]
    else:
        q = pinvh(normal, atol=1e-6)
    answer = judged(jac, q, v, figures, len(v) - 3 * n + g.shape[1])
    answer |= {"positions": at.tolist(), "movable": movable, "covariance": q.tolist()}
    answer["open_motions"] = g.shape[1]
    return {"points": points, "figures": figures, "laid_onto": places, "answer": answer}


def detectable():
    """Shift of the mean, in standard uncertainties, that a two-sided test finds with 80 %."""
    answers = []
    for tests in (1, 10, 40, 400):
        for alpha in (0.001, 0.05):
            critical = norm.isf(alpha / tests / 2)
            delta = brentq(
                lambda d: ncx2.sf(critical**2, 1, d * d) - POWER, 1e-3, 20, xtol=1e-14
            )
            answers.append(
                {"alpha": alpha, "tests": tests, "critical": critical, "delta": delta}
            )
    return answers


def trilateration():
    rng = np.random.default_rng(77)
    answers = []
    for _ in range(20):
        centres = rng.uniform([-600, -650, 0], [3300, 650, 700], size=(3, 3))
        at = rng.uniform([-600, -650, -300], [3300, 650, 900])
        radii = np.linalg.norm(centres - at, axis=1)
        arguments = []
        for c, r in zip(centres, radii):
            arguments += [Vector3d(*c), float(r)]
        both = trilaterate3d2(*arguments)
        answers.append(
            {
                "centres": centres.tolist(),
                "radii": radii.tolist(),
                "answers": [[p.x, p.y, p.z] for p in both],
            }
        )
    return answers


def compute():
    return {
        "made_by": "numpy, scipy, pygeodesy",
        "held": [held(seed) for seed in (1, 2, 3)],
        "folded": [folded(seed) for seed in (4, 5)],
        "free": [
            free(6, False, []),
            free(7, True, []),
            free(8, False, [0, 1, 4, 7]),
            free(9, True, [0, 1, 5]),
        ],
        "detectable": detectable(),
        "trilateration": trilateration() if pygeodesy else None,
    }


def differences(a, b, path=""):
    if isinstance(a, dict):
        if a.keys() != b.keys():
            yield f"{path}: {sorted(a)} against {sorted(b)}"
            return
        for key in a:
            yield from differences(a[key], b[key], f"{path}/{key}")
    elif isinstance(a, list):
        if len(a) != len(b):
            yield f"{path}: {len(a)} against {len(b)} items"
            return
        for i, (x, y) in enumerate(zip(a, b)):
            yield from differences(x, y, f"{path}/{i}")
    elif isinstance(a, float) and isinstance(b, (int, float)):
        if not np.isclose(a, b, rtol=1e-5, atol=1e-6):
            yield f"{path}: {a} against {b}"
    elif a != b:
        yield f"{path}: {a} against {b}"


def rounded(value):
    """Twelve significant digits: more would only be this machine's rounding."""
    if isinstance(value, dict):
        return {key: rounded(v) for key, v in value.items()}
    if isinstance(value, list):
        return [rounded(v) for v in value]
    return float(f"{value:.12g}") if isinstance(value, float) else value


if __name__ == "__main__":
    now = compute()
    if "--check" in sys.argv[1:]:
        stored = json.loads(FILE.read_text())
        if not pygeodesy:
            stored["trilateration"] = None
            print("SKIPPED: the trilateration by PyGeodesy (pip install pygeodesy)")
        wrong = list(differences(stored, now))
        print("\n".join(wrong[:20]) or f"{FILE.name} agrees")
        print(f"scipy {scipy.__version__}, pygeodesy {pygeodesy and pygeodesy.version}")
        sys.exit(bool(wrong))
    if not pygeodesy:
        sys.exit("pygeodesy is needed to write all values: pip install pygeodesy")
    FILE.write_text(json.dumps(rounded(now), separators=(",", ":")) + "\n")

"""Writes optimum.json: a few cards, and where a general minimiser puts the most probable K, S, builds and anisotropy behind them.

The objective is written down again here from its definition, dense and without any trick: residuals whitened by the data's covariance,
distances from the prior's mean whitened by its precision. scipy.optimize.least_squares (trust region, numerical slopes) minimises it
from twelve starts; the best end is stored, with standard deviations from (J^T J)^-1. Film optics: the stored table of
src/film/table.bin through scipy's natural cubic splines. CIE tables: colour-science.

pip install numpy scipy==1.17.1 colour-science==0.4.7
"""
import json
import os
import numpy as np
import colour
from scipy.interpolate import NdBSpline, make_interp_spline
from scipy.optimize import least_squares

HERE = os.path.dirname(os.path.abspath(__file__))
N = 31
BANDS = np.arange(400, 701, 10)
SHAPE = colour.SpectralShape(400, 700, 10)
ROWS = (colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
        * colour.SDS_ILLUMINANTS["D50"].copy().align(SHAPE).values[:, None]).T
ROWS *= (np.array([0.9642, 1.0, 0.8249]) / ROWS.sum(1))[:, None]
ENTRY, INNER = (1 - 0.04) * (1 - 0.05024) / 1.5**2, 0.596346

# --- optics -------------------------------------------------------------------------------
SIDE, LEAST, MOST = 57, 1e-4, 150.0
NODES = np.linspace(np.log(LEAST), np.log(MOST), SIDE)


def unpacked(data):
    """What pack() in src/film/table.rs was given: LEB128 numbers, their sign in the lowest bit, differences along the axes."""
    numbers, folded, shift = [], 0, 0
    for byte in data:
        folded |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            numbers.append(folded >> 1 if folded & 1 == 0 else -(folded >> 1) - 1)
            folded = shift = 0
    cube = np.array(numbers, dtype=np.int64).reshape(3, 3, SIDE, SIDE)          # function, anisotropy, K X, S X
    for axis in (3, 3, 2, 2, 1):
        cube = np.cumsum(cube, axis=axis)
    return cube.transpose(1, 2, 3, 0) / 2**20


stored = unpacked(open(os.path.join(HERE, "../../../src/film/table.bin"), "rb").read())
first = make_interp_spline(NODES, np.moveaxis(stored, 0, 3), k=3, bc_type="natural", axis=0)
second = make_interp_spline(NODES, np.moveaxis(first.c, 1, 0), k=3, bc_type="natural", axis=0)
SPLINE = NdBSpline((first.t, second.t), np.moveaxis(second.c, 0, 1), 3)

def film(kx, sx, g, ground):
    at = SPLINE(np.log(np.clip(np.stack([kx, sx], -1), LEAST, MOST)))       # [..., function, anisotropy]
    t = (g - 0.4) / 0.4
    a, b, c = np.moveaxis(at @ np.array([t * (t - 1) / 2, 1 - t * t, t * (t + 1) / 2]), -1, 0)
    return np.exp(a) + np.exp(b) * ground / (1 - c * ground)

# --- prior: mean and precision by their definitions ------------------------------------------
PRIOR = {"rough_absorption": 0.5, "steep_absorption": 0.6, "rough_scattering": 0.05, "absorption": [0.5, 3.0], "scattering": [0.3, 2.5],
         "slope": [-0.4, 0.8], "build": 0.4}
FIRST, SECOND = (np.diff(np.eye(N), order, axis=0) for order in (1, 2))
BETWEEN = (BANDS[1:] + BANDS[:-1]) / 2
FIRST /= (1 + 3 * np.maximum(440 - BETWEEN, 0) / 40 + 1.7 * np.maximum(BETWEEN - 640, 0) / 60)[:, None]    # wider towards the ends
PLACE = np.linspace(-1, 1, N)

def prior(case):
    films = len(case["nominal"])
    mean = np.concatenate([np.full(N, np.log(PRIOR["absorption"][0])), np.log(PRIOR["scattering"][0]) + PRIOR["slope"][0] * PLACE,
                           np.log(case["nominal"]), [case["anisotropy"][0], case["haze"][0]]])
    rough = SECOND.T @ SECOND
    k = rough / PRIOR["rough_absorption"]**2 + FIRST.T @ FIRST / PRIOR["steep_absorption"]**2 + np.eye(N) / N / PRIOR["absorption"][1]**2
    slope = PLACE / (PLACE @ PLACE)
    s = rough / PRIOR["rough_scattering"]**2 + np.eye(N) / N / PRIOR["scattering"][1]**2 + np.outer(slope, slope) / PRIOR["slope"][1]**2
    sd = [PRIOR["build"] * max(abs(np.log2(x)), 1) for x in case["nominal"]] + [case["anisotropy"][1], case["haze"][1]]
    root = np.zeros((2 * N + films + 2,) * 2)
    root[:N, :N], root[N:2 * N, N:2 * N] = np.linalg.cholesky(k).T, np.linalg.cholesky(s).T
    root[2 * N:, 2 * N:] = np.diag(1 / np.array(sd))
    return mean, root

# --- objective ---------------------------------------------------------------------------------
def solve(case):
    films = len(case["nominal"])
    mean, root = prior(case)
    free = np.array([i for i in range(len(mean)) if i != 2 * N + case["reference"]])
    grounds, value, sd = np.array(case["grounds"]), np.array(case["values"]), np.array(case["sd"])
    says, shared = np.array(case["says"]), np.array(case["shared"])

    def misses(some):
        theta = mean.copy()
        theta[free] = some
        k, s, x = np.exp(theta[:N]), np.exp(theta[N:2 * N]), np.exp(theta[2 * N:2 * N + films])[:, None]
        seen = np.stack([film(k * x, s * x, theta[-2], g) for g in grounds], 1)     # [film, ground, band]
        given = (seen + theta[-1]) @ ROWS.T
        rest = value - given.ravel()
        quiet = ((says == "at most") & (rest >= 0)) | ((says == "at least") & (rest <= 0))
        rest = np.where(quiet, 0, rest)
        noise = np.diag(sd**2) + shared * ~quiet[:, None] * ~quiet[None, :]
        return np.concatenate([np.linalg.solve(np.linalg.cholesky(noise), rest), root @ (theta - mean)])

    low, high = np.full(len(mean), -np.inf), np.full(len(mean), np.inf)
    low[-2], high[-2] = 0.0, 0.8
    random = np.random.default_rng(3)
    best = None
    for start in range(12):
        theta = mean.copy()
        theta[:N], theta[N:2 * N] = np.log(10 ** random.uniform(-1.3, 0.5)), np.log(10 ** random.uniform(-1.3, 0.5))
        end = least_squares(misses, theta[free], "3-point", (low[free], high[free]), xtol=1e-13, ftol=1e-13, gtol=1e-11, max_nfev=400)
        if best is None or end.cost < best.cost:
            best = end
    theta, spread = mean.copy(), np.zeros(len(mean))
    theta[free], spread[free] = best.x, np.sqrt(np.diag(np.linalg.inv(best.jac.T @ best.jac)))
    return {"cost": 2 * best.cost, "theta": theta.tolist(), "sd": spread.tolist()}

def case(name, file, paint, draw, haze=(0.0, 1e-6), shared=0.0, bound=None):
    data = json.load(open(os.path.join(HERE, "../sets", file + ".json")))
    xyz = np.array(next(p for p in data["paints"] if p["name"] == paint)["noisy"][draw])
    white = 0.84 * (1 - 0.25 / (1 + np.exp((BANDS - 410) / 6)))
    grounds = [(r / (ENTRY + INNER * r)).tolist() for r in (white, np.full(N, 0.035))]
    value = xyz.ravel()
    says = np.full(len(value), "equal", dtype=object)
    if bound:                                                            # as if the darkest and lightest had been clipped there
        says[value < bound[0]], says[value > bound[1]] = "at most", "at least"
        value = np.clip(value, *bound)
    alike = np.kron(np.ones((6, 6)), np.eye(3)) * shared**2
    c = {"name": name, "grounds": grounds, "nominal": [0.5, 1.0, 2.0], "reference": 1, "haze": haze, "anisotropy": [0.4, 0.25],
         "values": value.tolist(), "sd": np.sqrt(0.002**2 + (0.01 * value)**2).tolist(), "says": says.tolist(), "shared": alike.tolist()}
    return c | {"optimum": solve(c)}

cases = [
    case("rose lake", "cards", "rose lake", 0),
    case("smoke blue", "second", "smoke blue", 1),
    case("dense yellow, a shared zero error", "cards", "dense yellow", 3, shared=0.004),
    case("night blue, satin", "forward", "night blue", 2, haze=(0.01, 0.006)),
    case("strong crimson, clipped", "second", "strong crimson", 0, bound=(0.012, 0.6)),
]
with open(os.path.join(HERE, "optimum.json"), "w") as file:
    rounded = json.loads(json.dumps({"prior": PRIOR, "cases": cases}), parse_float=lambda v: float(f"{float(v):.8g}"))
    json.dump(rounded, file)
    file.write("\n")
for c in cases:
    print(c["name"], c["optimum"]["cost"], c["optimum"]["theta"][-2:])

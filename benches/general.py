"""The same work as ours by general libraries, for `cargo bench --bench large_page`, which gives the work on standard input.

Decoding the page and squaring its cards by OpenCV; one fit and one film over forty colours with ranges in numpy, through
scipy's splines over our own table of films. The fit is Gauss-Newton from four starts on the same data and prior as ours, but
holds the anisotropy, knows no haze and no shared errors: it does less. Ranges are ninths of ten of two hundred draws.

Needs: pip install numpy scipy colour-science opencv-python-headless
"""

import json
import sys
import time

import colour
import cv2
import numpy as np
import scipy
from scipy.interpolate import RectBivariateSpline

WORK = json.load(sys.stdin)
BANDS = 31
TO_XYZ = np.array(WORK["to_xyz"])
WHITE = TO_XYZ.sum(1)
SECOND = np.diff(np.eye(BANDS), 2, axis=0)
# As in src/fit/prior.rs.
ROUGH_K, ROUGH_S, LEVEL_K, LEVEL_S, BUILD = 0.5, 0.03, (0.5, 3.0), (0.3, 2.5), 0.35
STARTS = ((0.5, 0.3), (0.05, 0.05), (2.0, 0.05), (1.0, 3.0))


def least(step):
    """Least time of several turns, in ms."""
    best = np.inf
    for _ in range(WORK["turns"]):
        start = time.perf_counter()
        step()
        best = min(best, time.perf_counter() - start)
    return 1e3 * best


def spline(values):
    return RectBivariateSpline(WORK["nodes"], WORK["nodes"], values)


A = spline(np.log(np.maximum(WORK["table"]["a"], 1e-12)))
B = spline(np.log(np.maximum(WORK["table"]["b"], 1e-14)))
C = spline(np.array(WORK["table"]["c"]))


def film(k, s, ground):
    """Reflectance as seen of a film of K X and S X over a ground's internal reflectance."""
    k, s, ground = np.broadcast_arrays(k, s, ground)
    u, v = (np.log(np.clip(x, 1e-4, 150)) for x in (k, s))
    a, b, c = np.exp(A(u, v, grid=False)), np.exp(B(u, v, grid=False)), C(u, v, grid=False)
    return a + b * ground / (1 - c * ground)


def fit():
    card = WORK["fit"]
    nominal, reference = np.array(card["nominal"]), card["reference"]
    films, size = len(nominal), 2 * BANDS + len(nominal)
    grounds = np.array(card["grounds"])[None]
    data = card["data"]
    rows = np.array([d["row"] for d in data])
    y, sd = (np.array([d[name] for d in data]) for name in ("value", "sd"))
    which = [d["film"] for d in data], [d["ground"] for d in data]
    mean = np.concatenate([np.full(BANDS, np.log(LEVEL_K[0])), np.full(BANDS, np.log(LEVEL_S[0])), np.log(nominal)])
    prior = np.zeros((size, size))
    rough = SECOND.T @ SECOND
    prior[:BANDS, :BANDS] = rough / ROUGH_K**2 + np.eye(BANDS) / LEVEL_K[1] ** 2 / BANDS
    prior[BANDS : 2 * BANDS, BANDS : 2 * BANDS] = rough / ROUGH_S**2 + np.eye(BANDS) / LEVEL_S[1] ** 2 / BANDS
    for j in range(films):
        prior[2 * BANDS + j, 2 * BANDS + j] = 1e6 if j == reference else BUILD**-2

    def forward(th):
        k, s, x, e = np.exp(th[:BANDS]), np.exp(th[BANDS : 2 * BANDS]), np.exp(th[2 * BANDS :])[:, None, None], 1e-4
        r = film(k * x, s * x, grounds)
        by_k, by_s = (film(k * x * (1 + e), s * x, grounds) - r) / e, (film(k * x, s * x * (1 + e), grounds) - r) / e
        slopes = np.zeros((len(y), size))
        slopes[:, :BANDS], slopes[:, BANDS : 2 * BANDS] = rows * by_k[which], rows * by_s[which]
        thicker = (rows * (by_k + by_s)[which]).sum(1)
        slopes[np.arange(len(y)), 2 * BANDS + np.array(which[0])] = thicker
        return (rows * r[which]).sum(1), slopes

    def cost(residual, th):
        return ((residual / sd) ** 2).sum() + (th - mean) @ prior @ (th - mean)

    best = None
    for k0, s0 in STARTS:
        th, damp = mean.copy(), 1e-2
        th[:BANDS], th[BANDS : 2 * BANDS] = np.log(k0), np.log(s0)
        value, slopes = forward(th)
        now = cost(y - value, th)
        for _ in range(150):
            weighed = slopes / sd[:, None]
            hessian = weighed.T @ weighed + prior
            gradient = weighed.T @ ((y - value) / sd) - prior @ (th - mean)
            for _ in range(12):
                step = np.linalg.solve(hessian + damp * np.diag(np.diag(hessian)), gradient)
                near = th + np.clip(step, -1.5, 1.5)
                there = forward(near)
                then = cost(y - there[0], near)
                if then < now:
                    break
                damp *= 4
            else:
                break
            drop, th, (value, slopes), now, damp = now - then, near, there, then, max(damp / 5, 1e-9)
            if drop < 1e-6 * now:
                break
        if best is None or now < best[0]:
            weighed = slopes / sd[:, None]
            best = now, th, np.linalg.inv(weighed.T @ weighed + prior)
    return best


def lab(seen):
    return colour.XYZ_to_Lab(np.maximum(seen @ TO_XYZ.T, 1e-7), colour.XYZ_to_xy(WHITE))


def forty_colours():
    """Lab over every ground and the ninth tenth of CIEDE2000 of draws through the plane that touches."""
    paint = WORK["paint"]
    grounds = np.array(WORK["grounds"])
    theta = np.log(np.concatenate([paint["k"], paint["s"]]))
    values, vectors = np.linalg.eigh(np.array(paint["covariance"]))
    axes = vectors * np.sqrt(np.maximum(values, 0))

    def at(th):
        return lab(film(np.exp(th[:BANDS]), np.exp(th[BANDS:]), grounds))

    centre = at(theta)
    slope = np.stack([(at(theta + 0.05 * axis) - centre) / 0.05 for axis in axes.T])
    draws = np.random.default_rng(9).standard_normal((200, len(theta)))
    moved = centre + np.einsum("di,igc->dgc", draws, slope)
    apart = colour.delta_E(moved, np.broadcast_to(centre, moved.shape), method="CIE 2000")
    return centre, np.percentile(apart, 90, axis=0)


def picture(page):
    """Every card squared, as large as the page shows it."""
    for card in WORK["cards"]:
        width, height = 760, round(760 * card["size"][1] / card["size"][0])
        square = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
        there = cv2.getPerspectiveTransform(np.float32(card["corners"]), square)
        cv2.warpPerspective(page, there, (width, height), flags=cv2.INTER_AREA)


cv2.setNumThreads(1)
PAGE = cv2.imread(WORK["page"], cv2.IMREAD_UNCHANGED)
json.dump(
    {
        "ms": {
            "decode": least(lambda: cv2.imread(WORK["page"], cv2.IMREAD_UNCHANGED)),
            "picture": least(lambda: picture(PAGE)),
            "one fit": least(fit),
            "forty colours": least(forty_colours),
        },
        "versions": f"numpy {np.__version__}, scipy {scipy.__version__}, OpenCV {cv2.__version__}",
    },
    sys.stdout,
)

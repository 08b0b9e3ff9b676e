"""Writes rte_stacks.csv: films of different paints and anisotropies in optical contact, seen at 45:0 through an index 1.5 surface.

Matrices of the films by the general adding-doubling library iadpython 0.5.3 with 24 directions, joined here. Columns: stack, films from
the bottom up as K:S:anisotropy (two-flux units, K = 2 mu_a and S = 3/4 mu_s (1 - g)) joined by |, internal reflectance of the
Lambertian ground, radiance factor without gloss.

pip install iadpython==0.5.3 numpy scipy
"""
import os
import numpy as np
import iadpython
from iadpython import combine, fresnel
from scipy.interpolate import CubicSpline

INDEX, DIRECTIONS = 1.5, 24

def sample(albedo, depth, g):
    s = iadpython.Sample(a=albedo, b=depth, g=g, n=INDEX, quad_pts=DIRECTIONS)
    s.update_quadrature()
    return s

plain = sample(0.5, 1, 0.0)
NU, ROOT = np.array(plain.nu), np.sqrt(np.array(plain.twonuw))
INNER = np.diag([fresnel.fresnel_reflection(INDEX, x, 1.0) for x in NU])
COSINE = np.sqrt(1 - 0.5 / INDEX**2)
ENTRY = (1 - fresnel.fresnel_reflection(INDEX, COSINE, 1.0)) * (1 - fresnel.fresnel_reflection(INDEX, 1.0, 1.0)) / INDEX**2

def film(k, s, g):
    absorb, scatter = k / 2, 4 * s / 3 / (1 - g)
    r, t = combine.simple_single_layer_matrices(sample(scatter / (absorb + scatter), absorb + scatter, g))
    d = np.diag(ROOT)
    return d @ r @ d, d @ t @ d

def seen(films, ground):
    m = ground * np.outer(ROOT, ROOT)
    for r, t in films:
        m = r + t @ m @ np.linalg.solve(np.eye(DIRECTIONS) - r @ m, t)
    m = m @ np.linalg.inv(np.eye(DIRECTIONS) - INNER @ m) / np.outer(ROOT, ROOT)
    order = np.argsort(NU)
    upright = m[np.ix_(order, order)][:, -1]
    inside = NU[order] > np.sqrt(1 - 1 / INDEX**2) - 0.05
    return ENTRY * float(CubicSpline(NU[order][inside], upright[inside])(COSINE))

random = np.random.default_rng(4)
rows = ["stack,films,ground,seen"]
for stack in range(16):
    films = [(10 ** random.uniform(-2, 0.7), 10 ** random.uniform(-1.5, 0.7), random.choice([0.0, 0.3, 0.6, 0.8]))
             for _ in range(2 + stack % 2)]
    films = [(round(k, 5), round(s, 5), float(g)) for k, s, g in films]
    for ground in (0.05, 0.4, 0.9):
        value = seen([film(*f) for f in films], ground)
        rows.append(f"{stack},{'|'.join(':'.join(map(str, f)) for f in films)},{ground},{value:.7f}")
with open(os.path.join(os.path.dirname(os.path.abspath(__file__)), "rte_stacks.csv"), "w") as file:
    file.write("\n".join(rows) + "\n")

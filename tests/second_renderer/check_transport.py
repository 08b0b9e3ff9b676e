"""Checks `transport.py` against what others computed or printed. Ends with an error where it is off.

    python check_transport.py

The tables and their sources are in ../data/tables (README.md there): discrete ordinates on bare slabs, and stacks of films at 45:0 from
another adding-doubling library. The slab is van de Hulst's, Multiple Light Scattering (1980), as quoted by Wang, Jacques and Zheng,
Comput. Methods Programs Biomed. 47 (1995) 131; its two numbers from memory.
"""
import csv
import itertools
import pathlib

import numpy as np

import transport

TABLES = pathlib.Path(__file__).parent.parent / "data" / "tables"


def slab(albedo, depth, anisotropy):
    """A bare slab of one band as `Layer`."""
    absorbs, scatters = (1 - albedo) * depth, albedo * depth
    return transport.film(np.array([2 * absorbs]), np.array([0.75 * scatters * (1 - anisotropy)]), 1.0, anisotropy)


def diffuse(layer):
    """Shares of diffuse light from outside that a bare slab reflects and transmits (matched index)."""
    flux = transport.FLUX
    scattered = flux @ layer.transmits[0] @ flux
    return flux @ layer.reflects[0] @ flux, scattered + flux @ layer.direct[0]


def rows(name):
    with open(TABLES / name, newline="") as file:
        return list(csv.DictReader(file))


def check(title, errors, bound):
    worst = float(np.max(np.abs(errors)))
    print(f"{title}: {np.size(errors)} numbers, worst {worst:.2g}, bound {bound:g}")
    assert worst < bound, title


def main():
    upright = slab(0.9, 2.0, 0.75)
    column = transport.UPRIGHT
    reflected = transport.FLUX @ upright.reflects[0, :, column]
    passed = transport.FLUX @ upright.transmits[0, :, column] + upright.direct[0, column]
    check("van de Hulst's slab, upright light", [reflected - 0.09739, passed - 0.66096], 2e-5)

    errors = []
    for row in rows("disort_slabs.csv"):
        g, albedo, depth, reflected, passed = (float(row[k]) for k in ("g", "albedo", "depth", "reflected", "transmitted"))
        errors.append(np.subtract(diffuse(slab(albedo, depth, g)), (reflected, passed)))
    check("discrete ordinates, diffuse light on slabs", errors, 2e-4)

    moderate, steep = [], []
    for films, group in itertools.groupby(rows("rte_stacks.csv"), key=lambda row: row["films"]):
        paints = [tuple(map(float, paint.split(":"))) for paint in films.split("|")]
        layers = [transport.film(np.array([k]), np.array([s]), 1.0, g) for k, s, g in paints]
        for row in group:
            error = transport.seen(layers, np.array([float(row["ground"])]))[0] / float(row["seen"]) - 1
            (steep if max(g for *_, g in paints) > 0.6 else moderate).append(error)
    check("another library, stacks at 45:0, anisotropies to 0.6, relative", moderate, 1e-3)
    # Sixteen moments are few for 0.8; no paint in `paints.py` is above 0.7.
    check("the same, anisotropy 0.8 among them, relative", steep, 0.03)


if __name__ == "__main__":
    main()

"""Bands, CIE tables, colour differences and the surface of paint: the little that everything here stands on.

Spectra are arrays whose last axis holds 31 bands, 400 to 700 nm in steps of 10 nm. Reflectances are radiance factors at 45:0 without
gloss (1 is the perfect diffuser). XYZ has Y = 1 for the perfect diffuser in D50 light, CIE 1931 observer.
"""
import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it says that it cannot draw plots, which nobody wants here
    import colour

NM = np.arange(400, 701, 10.0)  # [31]
SHAPE = colour.SpectralShape(400, 700, 10)

WHITE = np.array([0.9642, 1.0, 0.8249])  # [3], D50 as the ICC's profile connection space writes it (ISO 15076-1)
D50 = colour.SDS_ILLUMINANTS["D50"].copy().align(SHAPE).values  # [31], CIE 015
_OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values  # [31, 3], CIE 015
TO_XYZ = (_OBSERVER * D50[:, None]).T  # [3, 31]; its rows are scaled so that a flat spectrum is exactly as grey as WHITE
TO_XYZ *= (WHITE / TO_XYZ.sum(1))[:, None]

INDEX = 1.5  # of dry paint; common practice
# What part of light that comes out of the paint is seen at 45:0, and what part the surface throws back: Fresnel's reflectances at 0
# and 45 degrees, and Walsh's (1926) for diffuse light from inside, all at index 1.5; joined as by Saunderson (1942).
ENTRY = (1 - 0.04) * (1 - 0.050240) / 2.25
INNER = 0.596346


def internal(seen):
    """Reflectance below the surface of a glossy ground whose reflectance through the surface is `seen`. Any shape."""
    return seen / (ENTRY + INNER * seen)


def lab(xyz):
    """CIE Lab, D50, of XYZ [..., 3]."""
    return colour.XYZ_to_Lab(np.maximum(xyz, 1e-7), colour.XYZ_to_xy(WHITE))


def difference(lab_1, lab_2):
    """CIEDE2000 between two arrays of Lab [..., 3]."""
    return colour.delta_E(np.asarray(lab_1), np.asarray(lab_2), method="CIE 2000")


def bump(centre, width):
    """Gaussian over the bands, 1 at its top; centre and standard deviation in nm."""
    return np.exp(-0.5 * ((NM - centre) / width) ** 2)


def step(edge, width):
    """Rises from 0 to 1 at longer waves; `edge` in nm, where it is a half."""
    return 1 / (1 + np.exp(-(NM - edge) / width))

"""Exact transport of light through films of paint by adding and doubling, all 31 bands at once.

Plane layers of index 1.5 under air, Henyey-Greenstein scattering (delta-M scaled), unpolarised, averaged over azimuth. Method: van de
Hulst, Multiple Light Scattering (1980), chapter 4. Checked by `check_transport.py`.

Directions are cosines inside the paint: Gauss's on both sides of the critical angle, and two of weight 0 along which light enters (45
degrees outside) and is seen (upright). A layer is kept as kernels r[band, i, j]: light that comes in along j with intensity I_j goes
out along i with the sum over j of r_ij I_j 2 mu_j w_j.
"""
from dataclasses import dataclass

import numpy as np

from colours import INDEX

HALF_NODES, MOMENTS = 8, 16  # directions on either side of the critical angle; moments of the scattering
THINNEST = 1e-6  # optical depth at which doubling begins
CONSERVATIVE = 1 - 1e-9  # the largest albedo


def _directions():
    """Cosines and weights [2 * HALF_NODES + 2]; the last two are upright and 45 degrees outside."""
    critical = np.sqrt(1 - 1 / INDEX**2)
    x, w = np.polynomial.legendre.leggauss(HALF_NODES)
    shallow, steep = critical / 2 * (x + 1), critical + (1 - critical) / 2 * (x + 1)
    cosines = np.concatenate([shallow, steep, [1.0, np.sqrt(1 - 0.5 / INDEX**2)]])
    return cosines, np.concatenate([critical / 2 * w, (1 - critical) / 2 * w, [0, 0]])


def _fresnel(cosine):
    """Reflectance of the surface from inside, by cosine inside; 1 beyond the critical angle."""
    sine_outside = INDEX * np.sqrt(1 - cosine**2)
    reflected = np.ones_like(cosine)
    passes = sine_outside < 1
    outside, inside = np.sqrt(1 - sine_outside[passes] ** 2), cosine[passes]
    across = ((INDEX * inside - outside) / (INDEX * inside + outside)) ** 2
    along = ((INDEX * outside - inside) / (INDEX * outside + inside)) ** 2
    reflected[passes] = (across + along) / 2
    return reflected


COSINES, WEIGHTS = _directions()
UPRIGHT, SLANT = -2, -1  # places of the two directions of weight 0
FLUX = 2 * COSINES * WEIGHTS  # what a direction carries of a flux
UNIT = np.eye(len(COSINES))
SURFACE = _fresnel(COSINES)
THROUGH = (1 - SURFACE[UPRIGHT]) * (1 - SURFACE[SLANT]) / INDEX**2  # in at 45 degrees and out upright
_LEGENDRE = np.array([np.polynomial.legendre.Legendre.basis(k)(COSINES) for k in range(MOMENTS)])


@dataclass(frozen=True)
class Layer:
    """Kernels of reflection and of scattered transmission [bands, i, j], and what passes unscattered [bands, i]."""

    reflects: np.ndarray
    transmits: np.ndarray
    direct: np.ndarray


def _scattering(anisotropy):
    """Phase function back and forward [i, j], and the share scattered as if not at all (delta-M, Wiscombe 1977)."""
    forward_peak = anisotropy**MOMENTS
    order = np.arange(MOMENTS)
    moments = (2 * order + 1) * ((anisotropy**order - forward_peak) / (1 - forward_peak))
    forward = np.einsum("l,li,lj->ij", moments, _LEGENDRE, _LEGENDRE)
    back = np.einsum("l,li,lj->ij", moments * (-1.0) ** order, _LEGENDRE, _LEGENDRE)
    return back, forward, forward_peak


def film(absorption, scattering, build, anisotropy):
    """A film as `Layer`. Absorption and scattering [bands] are two-flux K and S per unit build (K = 2 mu_a, S = 3/4 mu_s (1 - g)),
    over 0; build over 0; anisotropy g from 0 to below 1."""
    absorbs, scatters = np.asarray(absorption) / 2, 4 * np.asarray(scattering) / 3 / (1 - anisotropy)
    back, forward, peak = _scattering(anisotropy)
    depth, albedo = (absorbs + scatters) * build, np.minimum(scatters / (absorbs + scatters), CONSERVATIVE)
    depth, albedo = depth * (1 - albedo * peak), albedo * (1 - peak) / (1 - albedo * peak)
    doublings = int(np.ceil(np.log2(max(depth.max(), THINNEST) / THINNEST)))
    thin, share = (depth / 2**doublings)[:, None, None], albedo[:, None, None]
    out, into = COSINES[:, None], COSINES[None, :]
    # Single scattering, which is all there is in so thin a layer.
    layer = Layer(
        share * back / (4 * (out + into)) * -np.expm1(-thin * (1 / out + 1 / into)),
        share * forward * thin / (4 * out * into) * np.exp(-thin * (1 / out + 1 / into) / 2),
        np.exp(-thin[:, :, 0] / COSINES),
    )
    for _ in range(doublings):
        layer = _double(layer)
    return layer


def _double(layer):
    """Two of `layer`, one on the other."""
    r, t, e = layer.reflects, layer.transmits, layer.direct
    r_flux, t_flux, r_direct = r * FLUX, t * FLUX, r * e[:, None, :]
    down = np.linalg.solve(UNIT - r_flux @ r_flux, t + r_flux @ r_direct)  # between the two, scattered
    up = r_direct + r_flux @ down
    return Layer(
        r + e[:, :, None] * up + t_flux @ up,
        e[:, :, None] * down + t * e[:, None, :] + t_flux @ down,
        e * e,
    )


def _over(layer, ground):
    """Kernel of reflection [bands, i, j] of `layer` on what reflects `ground` (the same shape)."""
    r, t, e = layer.reflects, layer.transmits, layer.direct
    ground_direct, ground_flux = ground * e[:, None, :], ground * FLUX
    down = np.linalg.solve(UNIT - (r * FLUX) @ ground_flux, t + r * FLUX @ ground_direct)
    up = ground_direct + ground_flux @ down
    return r + e[:, :, None] * up + (t * FLUX) @ up


def _through_surface(kernel):
    """Radiance factor [bands] at 45:0 of what reflects `kernel` below the surface."""
    inside = np.linalg.solve(UNIT - kernel * (FLUX * SURFACE), kernel)
    return THROUGH * inside[:, UPRIGHT, SLANT]


def stack(films):
    """A, B, C, each [bands], with which films (`Layer`, the lowest first) on a diffuse ground of internal reflectance rho are seen as
    A + B rho / (1 - C rho). That form is exact; three grounds give the three numbers."""
    size = len(COSINES)

    def seen_on(rho):
        kernel = np.full((len(films[0].direct), size, size), rho)
        for layer in films:
            kernel = _over(layer, kernel)
        return _through_surface(kernel)

    on_black = seen_on(0.0)
    lift_1, lift_2 = (seen_on(0.4) - on_black) / 0.4, (seen_on(0.9) - on_black) / 0.9
    slope = (1 / np.maximum(lift_2, 1e-15) - 1 / np.maximum(lift_1, 1e-15)) / 0.5
    passes = 1 / (1 / np.maximum(lift_1, 1e-15) - 0.4 * slope)
    hides = np.minimum(lift_1, lift_2) < 1e-13
    return on_black, np.where(hides, np.maximum(lift_1, 0), passes), np.where(hides, 0.5, -slope * passes)


def seen(films, rho):
    """Radiance factor of films (`Layer`, the lowest first) on diffuse grounds of internal reflectance rho [..., bands]."""
    a, b, c = stack(films)
    return a + b * rho / (1 - c * rho)

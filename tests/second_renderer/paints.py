"""Paints, all invented: no measured tube stands behind them. The curves were drawn by hand to look like the kinds of artists' paint.

Absorption K and scattering S [31] are two-flux constants per unit build (K = 2 mu_a, S = 3/4 mu_s (1 - g)); a build of 1 is about a
coat that a painter would call middling. The anisotropy g, of Henyey and Greenstein, runs from 0.1 to 0.7.
"""
from dataclasses import dataclass

import numpy as np

from colours import NM, bump

MID = NM / 550  # scattering falls with a power of the wavelength


@dataclass(frozen=True)
class Paint:
    """Constants as above."""

    kind: str
    absorption: np.ndarray
    scattering: np.ndarray
    anisotropy: float


def _below(edge, width, height):
    """Absorbs `height` at waves shorter than `edge` (nm)."""
    return height / (1 + np.exp((NM - edge) / width))


def _above(edge, width, height):
    """Absorbs `height` at longer waves."""
    return height / (1 + np.exp(-(NM - edge) / width))


def _band(centre, width, height):
    return height * bump(centre, width)


def _wide_band(centre, width, height):
    return height / (1 + ((NM - centre) / width) ** 2)


def _tail(start, width, height):
    return height * np.exp(-(NM - start) / width)


_INVENTED = {
    # Clear
    "cliff blue": ("clear", _above(512, 7, 6) + _band(405, 10, 0.6) + 0.02, 0.05 * MID**-2, 0.3),
    "lantern violet": ("clear", _wide_band(572, 26, 7) + _band(535, 16, 3) + 0.02, 0.06 * MID**-2, 0.5),
    "pine lake": ("clear", _above(585, 14, 7) + _below(470, 10, 5) + 0.08, 0.09 * MID**-1.5, 0.2),
    "ink ultramarine": ("clear", _band(592, 38, 5) + _band(545, 22, 1.6) + _below(415, 6, 0.6) + 0.03, 0.22 * MID**-0.5, 0.65),
    "plum": ("clear", _band(520, 38, 6) + _band(585, 22, 2.5) + _band(430, 22, 1.5) + 0.06, 0.12 * MID**-1, 0.4),
    "amber": ("clear", _below(525, 11, 5) + 0.03, 0.15 * MID**-1, 0.55),
    "ember": ("clear", _below(602, 7, 6) + 0.02, 0.10 * MID**-1, 0.3),
    "moss glaze": ("clear", _below(505, 16, 3.5) + _above(630, 22, 2) + 0.15, 0.2 * MID**-1, 0.6),
    "teal lake": ("clear", _above(545, 10, 9) + _below(440, 12, 0.9) + 0.02, 0.07 * MID**-2, 0.1),
    "straw lake": ("clear", _below(462, 8, 4) + 0.01, 0.08 * MID**-1, 0.4),
    # Earths
    "river earth": ("earth", _below(566, 24, 2.2) + 0.14 + _tail(400, 60, 0.15), 0.55 * MID**-0.6, 0.5),
    "barn red": ("earth", _below(583, 13, 5) + 0.45, 3.3 * MID**-0.2, 0.6),
    "lichen earth": ("earth", _band(430, 40, 0.9) + _band(690, 55, 1.1) + 0.22, 0.5 * MID**-0.8, 0.4),
    "peat": ("earth", _tail(400, 130, 3.2) + 0.45, 0.5 * MID**-0.7, 0.7),
    "sand ochre": ("earth", _below(518, 15, 2.4) + _band(650, 50, 0.05) + 0.12, 2.0 * MID**-0.3, 0.5),
    "coffee": ("earth", _tail(400, 100, 5) + 0.9, 0.9 * MID**-0.6, 0.3),
    # Opaque
    "signal yellow": ("opaque", _below(503, 6, 9) + 0.012, 6.5 * MID**-0.2, 0.5),
    "chalk lemon": ("opaque", _below(476, 7, 3) + 0.008, 8 * MID**-0.5, 0.6),
    "hedge green": ("opaque", _band(685, 45, 2.2) + _band(615, 30, 1.6) + _below(470, 14, 3.2) + 0.12, 3.2 * MID**-0.2, 0.55),
    "orchid": ("opaque", _band(552, 40, 3) + 0.05, 2.6 * MID**-0.4, 0.4),
    "porcelain blue": ("opaque", _above(560, 22, 1.6) + 0.05, 3.5 * MID**-0.9, 0.5),
    "brick orange": ("opaque", _below(572, 9, 6) + 0.05, 4.5 * MID**-0.2, 0.7),
    # Very dark
    "cellar green": ("dark", _band(650, 60, 9) + _band(420, 28, 6) + 0.35, 0.08 * MID**-1.5, 0.3),
    "night plum": ("dark", _band(560, 60, 8) + _below(450, 25, 2) + 0.5, 0.1 * MID**-1, 0.4),
    # Greys, whites, blacks
    "gull grey": ("grey", 0.55 + _band(600, 90, 0.1), 4 * MID**-0.4, 0.5),
    "smoke glass": ("grey", 0.42 + 0.1 * (MID - 1), 0.45 * MID**-1.2, 0.3),
    "lead sky": ("grey", 0.25 + _above(590, 40, 0.25), 2.2 * MID**-0.8, 0.6),
    "snow": ("white", _below(408, 4, 0.9) + 0.008, 12.5 * MID**-0.5, 0.6),
    "thin white": ("white", _below(396, 6, 0.5) + 0.006, 2.8 * MID**-1, 0.55),
    "ivory": ("white", _below(445, 14, 0.5) + 0.012, 8 * MID**-0.4, 0.5),
    "lamp": ("black", 5 + 0 * NM, 0.10 * MID**-1, 0.3),
    "blue black": ("black", 3.2 + _above(560, 60, 2), 0.30 * MID**-2, 0.2),
    "bone": ("black", 2.4 + _below(480, 60, 2.2), 0.16 * MID**-1, 0.5),
    # Hardly there
    "whisper": ("faint", _band(510, 50, 0.10) + 0.02, 0.05 * MID**-1.5, 0.4),
    "mist": ("faint", 0.02 + _below(430, 20, 0.1), 0.22 * MID**-3, 0.5),
}
LEAST_ABSORPTION = 0.003
PAINTS = {name: Paint(kind, np.maximum(k, LEAST_ABSORPTION), s, g) for name, (kind, k, s, g) in _INVENTED.items()}

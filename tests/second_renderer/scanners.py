"""Scanners and cameras: what their sensors see, the matrix of their driver, and what light does on its way.

All are invented, and so are numbers without a source. Wavelengths in nm.
"""
from dataclasses import dataclass

import cv2
import numpy as np

from colours import D50, TO_XYZ, WHITE, bump, step
from drawing import wave
from files import icc_profile


@dataclass
class Settings:
    """One scan's scanner, its faults and its file. Light is linear, 1 for the perfect diffuser; spreads are standard deviations."""

    scanner: str  # lamp, white led, three leds, phone, or ideal: the eye itself
    dpi: int
    lid: str  # what lies behind the card: white, grey, black, wood
    space: str  # of `SPACES`, or own: the sensor's, with a profile
    format: str  # png 16, png 8, tiff 16, tiff 16 deflate, tiff 8, jpeg
    noise: float
    streaks: float = 0.0  # relative, along the carriage
    glare: float = 0.0  # share of the surroundings' light that falls on a spot again, and how far, mm
    reach: float = 10.0
    offset: float = 0.0
    exposure: float = 1.0
    blur: float = 0.06  # mm; none when ideal
    tag_resolution: bool = True
    tag_space: bool = True
    quality: int = 92  # JPEG's, and its subsampling as Pillow numbers it
    subsampling: int = 0
    dust: float = 0.0  # specks per cm2
    hairs: int = 0
    angle: float = 0.0  # degrees
    dirt: float = 0.3  # of the card, 0 to 1
    uneven: float = 0.0  # relative slope of the light across the picture
    sharpen: float = 0.0
    perspective: float = 0.0  # corners' spread, in parts of the shorter side
    tone: float = 0.0  # strength of a phone's tone curve
    balance: tuple | None = None  # factors of the channels
    ideal: bool = False


def sensor(kind, rng):
    """Sensitivities under the scanner's own light [3, 31]; each row sums to 1."""
    if kind == "ideal":
        return TO_XYZ.copy()

    def about(value, spread):
        return value + rng.normal(0, spread)

    if kind == "lamp":
        lines = ((0.9, 436, 6), (0.5, 490, 8), (1.7, 545, 6), (0.7, 585, 9), (1.6, 611, 6), (0.35, 660, 25))
        light = sum((height * bump(centre, width) for height, centre, width in lines), start=0.25)
        filters = [step(about(588, 4), 7) * (1 - 0.2 * bump(700, 30)), bump(about(540, 4), 32), bump(about(455, 4), 30)]
    elif kind == "white led":
        light = 1.1 * bump(about(452, 3), 11) + 0.85 * bump(555, 55) + 0.45 * bump(620, 45) + 0.02
        filters = [step(about(592, 4), 9), bump(about(535, 4), 36) + 0.04 * step(610, 10), bump(about(462, 4), 32) + 0.02]
    elif kind == "three leds":
        light, filters = np.ones(31), [bump(about(628, 3), 9), bump(about(525, 4), 15), bump(about(465, 3), 10)]
    else:
        light = D50 / 100
        filters = [bump(about(600, 3), 33) + 0.08 * bump(450, 25), bump(about(533, 3), 38) + 0.03, bump(about(462, 3), 28)]
    seen = np.array(filters) * light
    return seen / seen.sum(1)[:, None]


def _dyed_patches(rng):
    """Reflectances [274, 31] such as a driver's matrix is made on: three dyes in chance amounts on paper, and a row of greys."""
    dyes = (bump(450, 38) + 0.08, bump(545, 36) + 0.1 * bump(430, 30), bump(640, 48) + 0.08 * bump(400, 30))
    patches = []
    for _ in range(260):
        density = sum(rng.uniform(0, 1.6) * rng.choice([0, 1, 1]) * dye for dye in dyes)
        patches.append(0.88 * np.exp(-density) * rng.uniform(0.85, 1) + 0.004)
    return np.array(patches + [np.full(31, v) for v in np.linspace(0.03, 0.9, 14)])


def driver_matrix(seen_by, rng):
    """Channels to XYZ [3, 3], fitted on patches so that white stays white. `seen_by`: sensitivities [3, 31]."""
    patches = _dyed_patches(rng)
    seen, wanted = patches @ seen_by.T, patches @ TO_XYZ.T
    weight = 1 / (0.05 + wanted[:, 1:2])
    rows = np.vstack([seen * weight, 500 * np.ones((1, 3))]), np.vstack([wanted * weight, 500 * WHITE[None]])
    return np.linalg.lstsq(*rows, rcond=None)[0].T


def _primaries(red, green, blue, white):
    """Linear RGB to XYZ [3, 3] adapted to D50 (Bradford), from chromaticities (x, y)."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in (red, green, blue)]).T
    light = np.array([white[0] / white[1], 1, (1 - sum(white)) / white[1]])
    matrix = columns * np.linalg.solve(columns, light)
    # Bradford's cones, as ICC.1:2010 annex E gives them.
    cones = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    return np.linalg.inv(cones) @ np.diag((cones @ WHITE) / (cones @ matrix.sum(1))) @ cones @ matrix


_D65 = (0.3127, 0.3290)
# Matrix, curve and name in the profile: IEC 61966-2-1; SMPTE EG 432-1's primaries with sRGB's curve; IEC 61966-2-5; ISO 22028-2 with
# its curve without the straight part.
SPACES = {
    "srgb": (_primaries((0.64, 0.33), (0.30, 0.60), (0.15, 0.06), _D65), "srgb", "s RGB test"),
    "p3": (_primaries((0.680, 0.320), (0.265, 0.690), (0.150, 0.060), _D65), "srgb", "wide P three test"),
    "oprgb": (_primaries((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), _D65), 2.2, "ad test"),
    "romm": (_primaries((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), (0.3457, 0.3585)), 1.8, "large gamut test"),
}


def _encode(linear, curve):
    linear = np.clip(linear, 0, 1)
    if curve == "srgb":
        return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    return linear**0.5 if curve == "table" else linear ** (1 / curve)


def _glared(image, settings, px):
    """Every spot is lit again by what lies round it, under the lid and beyond the picture's edge."""
    height, width, _ = image.shape
    coarse, border = max(1, int(px)), 40
    around = cv2.resize(image.mean(2), (width // coarse, height // coarse), interpolation=cv2.INTER_AREA)
    beyond = {"white": 0.86, "grey": 0.3, "black": 0.02, "wood": 0.2}[settings.lid]
    around = cv2.copyMakeBorder(around, border, border, border, border, cv2.BORDER_CONSTANT, value=beyond)
    near, far = (cv2.GaussianBlur(around, (0, 0), settings.reach * k * px / coarse) for k in (0.5, 1.2))
    around = cv2.resize((0.5 * near + 0.5 * far)[border:-border, border:-border], (width, height))
    return image * ((1 + settings.glare * around) / (1 + settings.glare * 0.45))[..., None]


def capture(image, settings, px, rng):
    """Linear channels as the sensor hands them over, of what lies on the glass [h, w, 3]; px: pixels per mm."""
    height, width, _ = image.shape
    image = image.astype(np.float32)
    if not settings.ideal:
        image = cv2.GaussianBlur(image, (0, 0), max(settings.blur * px, 0.3))
    if settings.glare:
        image = _glared(image, settings, px)
    image *= settings.exposure
    if settings.uneven:
        y, x = np.mgrid[0:height, 0:width]
        x, y = x / width - 0.5, y / height - 0.5
        slope = rng.normal(0, settings.uneven, 3)
        image *= (1 + slope[0] * x + slope[1] * y + slope[2] * (x**2 + y**2) * 2)[..., None].astype(np.float32)
    if settings.streaks:
        fine, wide = wave(width, 1, rng)[None, :, None], wave(width, 3 * px, rng)[None, :, None]
        image *= (1 + settings.streaks * fine + settings.streaks * wide).astype(np.float32)
    image += settings.offset
    spread = settings.noise * np.sqrt(np.maximum(image, 0)) + settings.noise * 0.2
    return image + (rng.normal(size=image.shape) * spread).astype(np.float32)


def develop(image, matrix, settings):
    """Encoded values 0 to 1 [h, w, 3], and the ICC profile that says what they mean. `matrix`: channels to XYZ."""
    if settings.space == "own":
        to_xyz, curve, name = matrix, "table", "my scan profile"
    else:
        to_xyz, curve, name = SPACES[settings.space]
        image = image @ matrix.T.astype(np.float32) @ np.linalg.inv(to_xyz).T.astype(np.float32)
    if settings.tone:
        image = np.clip(image, 0, 1.2)
        image = image * (1 + settings.tone * 0.6 * (1 - image)) / (1 + settings.tone * 0.1)
    if settings.balance is not None:
        image = image * np.array(settings.balance)
    values = _encode(image, curve)
    if settings.sharpen:
        smooth = cv2.GaussianBlur(values.astype(np.float32), (0, 0), 1.2)
        values = np.clip(values + settings.sharpen * (values - smooth), 0, 1)
    return values, icc_profile(to_xyz, curve, name, settings.space == "own")

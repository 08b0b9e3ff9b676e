"""Draws a `Card` as a scanner's sensor sees it: linear channels [h, w, 3], 1 for the perfect diffuser, before the scanner's own faults.

Numbers without a source are ours; sizes are in mm where nothing else is said.
"""
import cv2
import numpy as np
from scipy.interpolate import PchipInterpolator

import transport
from colours import internal

MOTTLE = 0.004  # relative spread of the paper's lightness; ours


def wave(length, period, rng):
    """Smooth noise [length] of standard deviation 1; `period` in pixels."""
    width = max(int(period), 1)
    values = rng.normal(size=length + 6 * width + 8)
    values = cv2.GaussianBlur(values[None], (0, 0), width)[0] if width > 1 else values
    values = values[3 * width : 3 * width + length]
    return values / (values.std() + 1e-9)


def clouds(height, width, across, down, rng):
    """The same over an area [height, width], as long as `across` and `down` pixels."""
    shrink = max(1, int(min(across, down) / 4))
    values = rng.normal(size=(height // shrink + 2, width // shrink + 2)).astype(np.float32)
    values = cv2.GaussianBlur(values, (0, 0), max(across / shrink, 0.3), sigmaY=max(down / shrink, 0.3))
    values /= values.std() + 1e-9
    return cv2.resize(values, (width, height), interpolation=cv2.INTER_LINEAR)


class Looks:
    """What a paint looks like over a card's grounds, by build: exact at 29 builds, smooth between them over the root of the build."""

    TOP, STEPS = 6.5, 1024

    def __init__(self, paint, grounds, sensor):
        """Grounds: reflectances [31] through the surface; sensor [3, 31]."""
        builds = np.geomspace(0.01, self.TOP, 29)
        inner = [internal(ground) for ground in grounds]
        spectra = np.zeros((len(builds), len(grounds), 31))
        for i, build in enumerate(builds):
            a, b, c = transport.stack([transport.film(paint.absorption, paint.scattering, build, paint.anisotropy)])
            for j, rho in enumerate(inner):
                spectra[i, j] = a + b * rho / (1 - c * rho)
        knots = np.concatenate([[0], builds])
        self._by_root = PchipInterpolator(np.sqrt(knots), np.concatenate([np.array(grounds)[None], spectra]), axis=0)
        self._seen = self._by_root(np.linspace(0, np.sqrt(self.TOP), self.STEPS)) @ sensor.T

    def spectra(self, builds):
        """Reflectances [builds, grounds, 31]."""
        return self._by_root(np.sqrt(builds))

    def __call__(self, builds):
        """Channels [..., grounds, 3] at builds [...]."""
        place = np.sqrt(np.clip(builds, 0, self.TOP - 0.01)) / np.sqrt(self.TOP) * (self.STEPS - 1)
        low = place.astype(int)
        share = (place - low)[..., None, None]
        return self._seen[low] * (1 - share) + self._seen[low + 1] * share


class Sheet:
    """The pixels of one card: their places in mm, and what is drawn in mm."""

    def __init__(self, card, px, rng):
        """`px`: pixels per mm."""
        self.card, self.px, self.rng = card, px, rng
        self.rows, self.columns = int(card.height * px), int(card.width * px)
        x, y = np.meshgrid((np.arange(self.columns) + 0.5) / px, (np.arange(self.rows) + 0.5) / px)
        self.x, self.y = x.astype(np.float32), y.astype(np.float32)

    def inside(self, distance):
        """Covered share of pixels whose middles lie `distance` mm inside an edge, which is 1.6 pixels soft."""
        return np.clip(distance * self.px / 1.6 + 0.5, 0, 1)

    def clouds(self, across, down):
        """As `clouds`, in mm."""
        return clouds(self.rows, self.columns, across * self.px, down * self.px, self.rng)

    def edge(self, length, period):
        """As `wave`: length in pixels, period in mm."""
        return wave(length, period * self.px, self.rng)

    def empty(self):
        """Nothing, everywhere [rows, columns]."""
        return np.zeros((self.rows, self.columns), np.float32)

    def between(self, x0, y0, x1, y1):
        """Covered share of a rectangle."""
        across = np.minimum(self.inside(self.x - x0), self.inside(x1 - self.x))
        return np.minimum(across, np.minimum(self.inside(self.y - y0), self.inside(y1 - self.y)))

    def black(self):
        """Share covered by black stripes [rows, columns]."""
        card, cover = self.card, self.empty()
        for left, right in card.black:
            lean = card.stripe_slant * (np.arange(self.rows) / self.px - card.height / 2)
            start, end = (x + card.stripe_rag * self.edge(self.rows, 2) + lean for x in (left, right))
            stripe = np.minimum(self.inside(self.x - start[:, None]), self.inside(end[:, None] - self.x))
            top, bottom = card.stripe_y
            stripe *= np.minimum(self.inside(self.y - top), self.inside(bottom - self.y))
            cover = np.maximum(cover, stripe)
        return cover

    def film(self, film):
        """Build [rows, columns] of one film."""
        card, across = self.card, np.arange(self.columns) / self.px - self.card.width / 2
        top = film.top + film.slant * across + film.rag * self.edge(self.columns, film.rag_length)
        bottom = film.bottom + film.lower_slant * across + film.rag * self.edge(self.columns, film.rag_length)
        left = film.left + film.rag * 2 * self.edge(self.rows, 1.0)
        right = film.right + film.rag * 3 * self.edge(self.rows, 1.0)
        down = np.minimum(self.y - top[None], bottom[None] - self.y)
        aside = np.minimum(self.x - left[:, None], right[:, None] - self.x)
        cover = np.minimum(np.clip(down / film.ramp + 0.5, 0, 1), np.clip(aside / 0.6 + 0.5, 0, 1))
        build = self.empty() + 1
        if film.wander:
            build *= np.exp(film.wander * self.clouds(12, 4)).astype(np.float32)
        if film.streaks:
            build *= np.exp(film.streaks * self.clouds(25, 0.5)).astype(np.float32)
        if film.taper:
            build *= 1 + film.taper * ((self.x - (film.left + film.right) / 2) / (film.right - film.left))
        if film.bead:
            build *= 1 + film.bead * np.exp(-np.maximum(right[:, None] - self.x, 0) / 1.5)
        measured = (cover > 0.99) & (self.x > card.black[0][0]) & (self.x < card.black[-1][1])
        build = build / np.median(build[measured])
        if film.ridge:
            build *= 1 + film.ridge * np.exp(-0.5 * ((down - 0.6) / 0.35) ** 2)
        return film.build * cover * build

    def written(self, image, sensor):
        """With words and pencil lines."""
        px = self.px
        for word in self.card.words:
            ink, place = np.zeros((self.rows, self.columns), np.uint8), (int(word.x * px), int(word.y * px))
            cv2.putText(ink, word.text, place, word.font, word.size * px / 22, 255, max(1, int(word.pen * px)), cv2.LINE_AA)
            cover = (ink / 255.0 * word.dark)[..., None].astype(np.float32)
            image = image * (1 - cover) + (word.ink @ sensor.T) * cover
        for x0, y0, x1, y1 in self.card.lines:
            pencil, start, end = np.zeros((self.rows, self.columns), np.uint8), (int(x0 * px), int(y0 * px)), (int(x1 * px), int(y1 * px))
            cv2.line(pencil, start, end, 255, max(1, int(0.35 * px)), cv2.LINE_AA)
            cover = (pencil / 255.0 * 0.55)[..., None].astype(np.float32)
            image = image * (1 - cover) + 0.12 * cover
        return image

    def torn(self, image, mask):
        """With one side torn off, fibres showing."""
        side = self.card.torn
        length = self.columns if side in "tb" else self.rows
        tear = np.abs(2.0 + 0.7 * self.edge(length, 3) + 0.3 * self.edge(length, 0.4))
        tear = tear[None] if side in "tb" else tear[:, None]
        distance = {"t": self.y, "b": self.card.height - self.y, "l": self.x, "r": self.card.width - self.x}[side] - tear
        fibres = np.clip(1 - np.abs(distance) / 1.0, 0, 1)[..., None] * 0.3
        return image * (1 - fibres) + 0.8 * fibres, np.minimum(mask, self.inside(distance))

    def smudged(self, image):
        """With one greasy fingerprint."""
        x, y = self.rng.uniform(0.1, 0.9) * self.card.width, self.rng.uniform(0.1, 0.9) * self.card.height
        out = np.hypot((self.x - x) / 7, (self.y - y) / 9)
        ridges = 0.5 + 0.5 * np.sin(2 * np.pi * (np.hypot(self.x - x, self.y - y - 6) / 0.5) + 2 * self.clouds(3, 3))
        cover = (0.05 * np.exp(-(out**4)) * ridges)[..., None].astype(np.float32)
        return image * (1 - cover) + 0.35 * cover


def draw(card, looks, px, rng, sensor):
    """Channels [h, w, 3] of the card, and its cover [h, w] of what lies behind; px: pixels per mm."""
    sheet = Sheet(card, px, rng)
    black, build = sheet.black()[..., None], sheet.empty()
    for film in card.films:
        build = np.maximum(build, sheet.film(film))
    seen = looks(build)
    image = seen[..., 0, :] * (1 - black) + seen[..., 1, :] * black
    if card.ground is not None:
        board = 1 - sheet.between(*card.ground)[..., None]
        image = image * (1 - board) + seen[..., 2, :] * board
    image *= 1 + MOTTLE * sheet.clouds(1.5, 1.5)[..., None]
    image = sheet.written(image.astype(np.float32), sensor)
    mask = sheet.between(0, 0, card.width, card.height)
    if card.torn:
        image, mask = sheet.torn(image, mask)
    for _ in range(card.smudges):
        image = sheet.smudged(image)
    return image, mask

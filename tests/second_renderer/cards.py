"""Invents drawdown cards made by hand: stripes, films and their faults, handwriting. Lengths in mm from the card's top left corner.

All chances and ranges are ours. The order of the draws is part of the seeds: another order gives other cards.
"""
from dataclasses import dataclass, field

import cv2
import numpy as np

from colours import NM, bump

HANDS = [cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_COMPLEX, cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_COMPLEX_SMALL]
WORDS = ["thin", "3 x tape", "oil 1:1", "glaze", "no 4", "12 March", "dry?", "linseed", "A", "mid", "thick", "stand oil", "B-7", "2 coats"]
THICKEST = 4.5  # build


@dataclass(frozen=True)
class Wish:
    """What a card shall be; None leaves it to chance."""

    paint: str
    films: int | None = None
    stripes: int | None = None  # black ones
    stripe_width: float | None = None
    film_height: float | None = None
    gap: float | None = None  # between films
    strength: float = 1.0  # of all builds
    board: np.ndarray | None = None  # reflectance [31] of a bare board round the white ground


@dataclass
class Film:
    """One film and the faults of the hand that drew it."""

    top: float
    bottom: float
    left: float
    right: float
    build: float  # median between the outer black stripes
    edge: str  # what it was drawn with: tape, knife, brush, or clean
    slant: float = 0.0  # of the upper and lower edge, mm per mm
    lower_slant: float = 0.0
    rag: float = 0.0  # standard deviation of the edges, and how long their waves are
    rag_length: float = 1.0
    ramp: float = 0.12  # over which an edge rises to the full build
    wander: float = 0.0  # relative spread of the build in clouds, and in streaks of a brush
    streaks: float = 0.0
    taper: float = 0.0  # relative change from end to end
    bead: float = 0.0  # relative excess where the stroke ends
    ridge: float = 0.0  # and along the edges


@dataclass
class Word:
    """Handwriting, placed by the left end of its line."""

    text: str
    font: int
    size: float  # capitals
    pen: float
    dark: float  # share of ink over paper
    ink: np.ndarray  # [31]
    x: float = 0.0
    y: float = 0.0


@dataclass
class Card:
    """A whole card: white, black and perhaps a board round them, films, handwriting and damage."""

    wish: Wish
    width: float
    height: float
    black: list  # (left, right) of black stripes
    left_white: float  # widths of the outer white ones
    right_white: float
    films: list
    stripe_rag: float
    stripe_slant: float
    stripe_y: tuple  # top and bottom
    white: np.ndarray  # reflectances [31]
    ink: np.ndarray
    ground: tuple | None = None  # left, top, right, bottom of the white ground, where it lies on a board
    words: list = field(default_factory=list)
    lines: list = field(default_factory=list)  # x, y, x, y
    torn: str = ""  # which side: t, b, l, r
    smudges: int = 0

    @property
    def grounds(self):
        """Reflectances of white, black and perhaps the board."""
        return [self.white, self.ink] + ([] if self.wish.board is None else [self.wish.board])


def _white(rng):
    light = rng.uniform(0.76, 0.90)
    violet_end = 1 - 0.25 / (1 + np.exp((NM - rng.uniform(404, 416)) / rng.uniform(5, 9)))
    return np.clip(light * violet_end * (1 + rng.uniform(-0.035, 0.015) * np.exp(-(NM - 400) / 70)), 0.02, 0.95)


def _black(rng):
    light = rng.uniform(0.022, 0.065)
    return light * (1 + rng.uniform(-0.12, 0.15) * (NM - 550) / 150) + 0.006 * bump(700, 40) * rng.integers(0, 2)


def _builds(rng, count, strength):
    first, factor = rng.uniform(0.25, 0.5), rng.uniform(1.55, 2.1)
    builds = [first * factor**i * np.exp(0.08 * rng.normal()) for i in range(count)]
    if count > 4:
        builds = [b**0.8 for b in builds]
    if count == 1:
        builds = [rng.uniform(0.5, 1.3)]
    builds = [min(b * strength, THICKEST) for b in builds]
    order = rng.random()
    if order < 0.25:
        return builds[::-1]
    if order < 0.32:
        rng.shuffle(builds)
    return builds


def _film(rng, top, height, build, left, right, width, dirt, ideal):
    edge = "clean" if ideal else str(rng.choice(["tape", "brush", "knife"], p=[0.6, 0.15, 0.25] if dirt < 0.6 else [0.4, 0.3, 0.3]))
    start = rng.uniform(2, max(2.5, left - 8))
    rng.uniform(-0.5, 3)  # not used; the seeds count on it
    film = Film(top, top + height, start, min(right + rng.uniform(0, 2), width - 1.5), float(build), edge)
    if edge == "clean":
        return film
    film.slant = rng.normal(0, 0.006 + 0.012 * dirt)
    film.lower_slant = film.slant + rng.normal(0, 0.004 + 0.01 * dirt)
    film.wander, film.taper = rng.uniform(0.015, 0.03 + 0.05 * dirt), rng.normal(0, 0.03 + 0.05 * dirt)
    film.bead = rng.uniform(0, 0.5)
    if edge == "tape":
        film.rag, film.rag_length, film.ramp = rng.uniform(0.03, 0.08), 0.8, 0.15
        film.ridge = rng.uniform(0, 0.3 + 0.4 * dirt)
    elif edge == "knife":
        film.rag, film.rag_length, film.ramp = rng.uniform(0.1, 0.25), 2.5, 0.3
        film.ridge = rng.uniform(-0.1, 0.5)
    else:
        film.rag, film.rag_length, film.ramp = rng.uniform(0.15, 0.4), 0.8, 0.5
        film.streaks, film.ridge = rng.uniform(0.04, 0.06 + 0.08 * dirt), -0.2
    return film


def _write(rng, card, right, dirt):
    """Words and pencil marks beside the films."""
    films, width = card.films, card.width
    for _ in range(int(rng.integers(1, 3 + int(5 * dirt)))):
        text, font = str(rng.choice(WORDS)), int(rng.choice(HANDS))
        size, pen, dark = rng.uniform(2.2, 4.5), rng.uniform(0.25, 0.6), rng.uniform(0.6, 0.97)
        ink = rng.choice([0, 1]) * np.full(31, 0.05) + (0.04 + 0.25 * bump(450, 40) * rng.choice([0, 1]))
        word = Word(text, font, size, pen, dark, ink)
        place = rng.choice(["top", "left", "bottom", "gap"], p=[0.5, 0.25, 0.15, 0.1])
        if place == "top":
            word.x, word.y = rng.uniform(2, width * 0.6), rng.uniform(4.5, 9)
        elif place == "bottom":
            word.x, word.y = rng.uniform(2, width * 0.6), card.height - 1.5
        elif place == "left":
            film = films[int(rng.integers(len(films)))]
            word.x, word.y, word.size = 0.8, (film.top + film.bottom) / 2, 2.2
        else:
            word.x, word.y, word.size = right - 10, films[0].top - 2, 2
        card.words.append(word)
    for film in films:
        if rng.random() < 0.25 + 0.3 * dirt:
            for y in (film.top, film.bottom):
                card.lines.append((rng.uniform(0, 2), y + rng.normal(0, 0.4), rng.uniform(4, 9), y + rng.normal(0, 0.4)))
                if rng.random() < 0.5:
                    card.lines.append((width - rng.uniform(2, 6), y, width - 0.5, y + 0.2))


def invent(rng, wish, dirt, ideal):
    """A `Card`. Dirt from 0 to 1; an ideal card has straight, clean edges."""

    def wished(value, chance):
        return chance if value is None else value

    stripes = wished(wish.stripes, int(rng.integers(2, 4)))
    stripe = wished(wish.stripe_width, rng.uniform(8.5, 17 if stripes == 2 else 13))
    count = wished(wish.films, int(rng.choice([2, 3, 3, 3, 4, 5])))
    left = x = rng.uniform(12, 24)
    black = []
    for i in range(stripes):
        end = x + stripe * (1 + 0.04 * rng.normal())
        black.append((x, end))
        x = end if i == stripes - 1 else end + stripe * (1 + 0.04 * rng.normal())
    right_white = stripe * rng.uniform(0.9, 1.2)
    right = x + right_white
    width = right + rng.uniform(3, 14)
    y = rng.uniform(15, 24)
    films = []
    for build in _builds(rng, count, wish.strength):
        height = wish.film_height or rng.uniform(11, 19)
        films.append(_film(rng, y, height, build, left, right, width, dirt, ideal))
        y += height + wished(wish.gap, rng.uniform(6.5, 11))
    height = y + rng.uniform(3, 12)
    rag, slant = (0, 0) if ideal else (rng.choice([0.015, 0.03, 0.1]), rng.normal(0, 0.004))
    stripe_y = (-5, height + 5) if rng.random() < 0.4 else (rng.uniform(4, 8), height - rng.uniform(3, 5.5))
    if ideal:
        stripe_y = (6, height - 4)
    card = Card(wish, width, height, black, min(left - 3, stripe), right_white, films, rag, slant, stripe_y, _white(rng), _black(rng))
    if wish.board is not None:
        card.ground, card.stripe_y = (max(left - stripe, 2), 2.5, right, height - 2.5), (5, height - 5)
    if dirt > 0.2:
        _write(rng, card, right, dirt)
    if dirt > 0.5:
        if rng.random() < 0.6:
            card.torn = str(rng.choice(list("tblr")))
        card.smudges = int(rng.integers(0, 4))
    return card

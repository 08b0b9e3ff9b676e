"""The list of scans: six without faults of the scanner, the main sets (plain, dirty, crooked, strange: 76 cards), and ten photographs.

All ranges are ours. The list is drawn once from a fixed seed; the order of the draws is part of it.
"""
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from cards import Wish
from colours import step
from paints import PAINTS
from scanners import Settings

MAIN = ("plain", "dirty", "crooked", "strange")
CROOKED_CARDS = (1, 1, 2, 1, 2, 3, 1, 2, 1, 1, 2, 1)  # in each scan
STRANGE = (
    [Wish(paint, films=1) for paint in ("amber", "barn red", "blue black")]
    + [Wish("whisper", films=3), Wish("mist", films=3), Wish("whisper", films=2, strength=2), Wish("snow", films=3)]
    + [Wish("snow", films=3, strength=2), Wish("ivory", films=4), Wish("thin white", films=3), Wish("lamp", films=3, strength=2)]
    + [Wish("bone", films=3, strength=0.5), Wish("signal yellow", films=3, strength=2.2), Wish("hedge green", films=3, strength=2.2)]
    + [Wish("plum", films=6, stripe_width=8), Wish("river earth", films=4, stripe_width=6, stripes=3)]
    + [Wish("teal lake", films=3, stripe_width=20, stripes=2), Wish("ember", films=3, gap=4.0), Wish("sand ochre", films=3, film_height=7)]
    + [Wish("cliff blue", films=3, stripes=4, stripe_width=8), Wish("lead sky", films=3, board=0.18 + 0.35 * step(560, 60))]
    + [Wish("orchid", films=3, board=np.full(31, 0.45)), Wish("coffee", films=6), Wish("cellar green", films=1, strength=2.0)]
)


class Scan(NamedTuple):
    """What one scan holds and how it is made."""

    name: str  # set-number
    seed: int
    wishes: list
    settings: Settings


class _Draws:
    """Chance, in one row from one seed."""

    def __init__(self):
        self.rng, self.bag = np.random.default_rng(77), []

    def pick(self, *values):
        """One of `values`, in their own type."""
        return values[int(self.rng.choice(len(values)))]

    def paint(self):
        """Every paint but the faint ones, in chance order, again and again."""
        if not self.bag:
            self.bag = [name for name, paint in PAINTS.items() if paint.kind != "faint"]
            self.rng.shuffle(self.bag)
        return Wish(str(self.bag.pop()))

    def flatbed(self, scanner=None):
        rng = self.rng
        scanner = scanner or self.pick("lamp", "white led", "three leds")
        formats = ("png 16", "tiff 16", "tiff 16 deflate", "png 8", "tiff 8", "jpeg")
        settings = Settings(
            scanner, dpi=self.pick(150, 200, 200, 300), lid=self.pick("white", "white", "grey", "black"),
            space=self.pick("srgb", "srgb", "p3", "romm", "oprgb", "own"),
            format=str(rng.choice(formats, p=[0.3, 0.15, 0.15, 0.15, 0.1, 0.15])),
            noise=rng.uniform(0.001, 0.003), streaks=rng.uniform(0.0005, 0.003),
            glare=rng.uniform(0.05, 0.18) if scanner == "lamp" else rng.uniform(0.0, 0.08), reach=rng.uniform(8, 14),
            offset=rng.uniform(0, 0.0012), exposure=rng.uniform(0.93, 1.0), blur=rng.uniform(0.04, 0.09),
            tag_resolution=bool(rng.random() < 0.8), dust=0.15, angle=rng.normal(0, 1.0), dirt=0.25,
        )
        settings.tag_space = not (settings.space == "srgb" and rng.random() < 0.5)
        return settings

    def dirty(self):
        rng, settings = self.rng, self.flatbed()
        return replace(
            settings, dirt=rng.uniform(0.6, 1), dust=rng.uniform(0.5, 3), hairs=int(rng.integers(0, 4)),
            lid=self.pick("white", "grey", "black", "wood"), angle=rng.normal(0, 2), noise=rng.uniform(0.002, 0.006),
            sharpen=self.pick(0.0, 0.0, 0.5), quality=self.pick(70, 80, 90), subsampling=2,
            streaks=rng.uniform(0.002, 0.006), uneven=0.02,
        )

    def crooked(self, number):
        rng, settings = self.rng, self.flatbed()
        settings.dirt = 0.4
        settings.angle = self.pick(90, 180, 270, rng.uniform(0, 360), rng.uniform(0, 360), rng.uniform(-25, 25))
        if CROOKED_CARDS[number] > 1:
            settings.dpi = 150
        if number in (2, 7):
            settings.angle = rng.normal(0, 2)
        return settings

    def photograph(self, number):
        rng, settings = self.rng, self.flatbed("phone")
        return replace(
            settings, space=("srgb", "p3")[number % 2], tag_space=True, format="jpeg", quality=self.pick(80, 90, 95), subsampling=2,
            lid=self.pick("wood", "grey", "white", "black"), perspective=0.03, uneven=0.06, glare=0, streaks=0, noise=0.004,
            exposure=rng.uniform(0.75, 0.95), tag_resolution=False, angle=rng.normal(0, 5),
            tone=0 if number < 5 else rng.uniform(0.3, 0.6), balance=(rng.uniform(0.93, 1.05), 1, rng.uniform(0.92, 1.06)),
            dpi=self.pick(180, 220), dirt=0.4, blur=0.1,
        )


def all_scans():
    """Every `Scan`."""
    draws, listed = _Draws(), []

    def add(name, wishes, settings):
        number = sum(scan.name.startswith(name) for scan in listed)
        listed.append(Scan(f"{name}-{number:02}", 1000 + len(listed), wishes, settings))

    for paint in ("plum", "amber", "river earth", "signal yellow", "cellar green", "gull grey"):
        add("ideal", [Wish(paint, films=3)], Settings("ideal", 200, "grey", "romm", "png 16", noise=0.0003, dirt=0, ideal=True))
    for _ in range(18):
        add("plain", [draws.paint()], draws.flatbed())
    for _ in range(16):
        settings = draws.dirty()
        add("dirty", [draws.paint()], settings)
    for number, count in enumerate(CROOKED_CARDS):
        settings = draws.crooked(number)
        add("crooked", [draws.paint() for _ in range(count)], settings)
    for number in range(10):
        settings = draws.photograph(number)
        add("photo", [draws.paint()], settings)
    for wish in STRANGE:
        add("strange", [wish], replace(draws.flatbed(), dirt=0.2))
    return listed

"""Lays cards on the glass, scans them, and writes the scan and the truth about it. Numbers without a source are ours."""
import cv2
import numpy as np
from PIL import Image

from cards import invent
from colours import TO_XYZ, bump, step
from drawing import Looks, clouds, draw
from files import write_png, write_tiff
from paints import PAINTS
from scanners import capture, develop, driver_matrix, sensor

ENDINGS = {"png 16": "png", "png 8": "png", "tiff 16": "tif", "tiff 16 deflate": "tif", "tiff 8": "tif", "jpeg": "jpg"}
MARGIN = 8  # mm round cards
SHADOW = 0.25  # of a card on the lid


def _lid(kind, height, width, px, rng, seen_by):
    """Channels [h, w, 3] of what lies behind the card."""
    if kind == "wood":
        grain = clouds(height, width, 60 * px, 0.7 * px, rng) + 0.6 * clouds(height, width, 30 * px, 2.5 * px, rng)
        share = np.clip(0.5 + 0.2 * grain, 0, 1)[..., None]
        light, dark = 0.42 * (0.25 + 0.75 * step(570, 45)), 0.2 * (0.25 + 0.75 * step(590, 45))
        image = share * (light @ seen_by.T) + (1 - share) * (dark @ seen_by.T)
    else:
        if kind == "white":
            spectrum = np.full(31, 0.86) * (1 - 0.1 * bump(400, 20))
        else:
            spectrum = np.full(31, rng.uniform(0.2, 0.5) if kind == "grey" else rng.uniform(0.008, 0.03))
        image = np.broadcast_to(spectrum @ seen_by.T, (height, width, 3)).copy()
    patchy = 1 + 0.01 * clouds(height, width, 20 * px, 20 * px, rng)[..., None]
    return (image.astype(np.float32) * patchy).astype(np.float32)


def _lay(image, drawn, cover, to_scan, px):
    """The lid with a card and its shadow. `to_scan` [3, 3]: mm on the card to pixels of the scan."""
    height, width, _ = image.shape
    to_mm = np.array([[1 / px, 0, 0.5 / px], [0, 1 / px, 0.5 / px], [0, 0, 1]])  # from the middles of pixels
    warp = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]]) @ to_scan @ to_mm
    cover = cv2.warpPerspective(cover, warp, (width, height), flags=cv2.INTER_LINEAR)
    shadow = cv2.GaussianBlur(np.roll(cover, (int(0.6 * px), int(0.5 * px)), (0, 1)), (0, 0), 0.5 * px)
    drawn = cv2.warpPerspective(drawn, warp, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    lid = image * (1 - SHADOW * shadow[..., None])
    return lid * (1 - cover[..., None]) + np.maximum(drawn, 0) * cover[..., None]


def _dust_and_hairs(image, settings, px, rng):
    height, width, _ = image.shape
    for _ in range(int(settings.dust * width * height / px / px / 100)):
        x, y, radius = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(0.05, 0.25) * px
        speck = np.zeros((height, width), np.uint8)
        cv2.circle(speck, (int(x), int(y)), max(1, int(radius)), 255, -1, cv2.LINE_AA)
        image[speck > 0] = image[speck > 0] * 0.4 + (rng.choice([0.5, 0.03])) * 0.6
    for _ in range(settings.hairs):
        start = [rng.uniform(0.2, 0.8) * width, rng.uniform(0.2, 0.8) * height]
        steps = (np.cumsum(rng.normal(0, 0.25, (40, 2)), 0) + rng.normal(0, 1, 2)) * 0.5 * px
        hair = np.zeros((height, width), np.uint8)
        cv2.polylines(hair, [np.cumsum(np.vstack([start, steps]), 0).astype(np.int32)], False, 255, 1, cv2.LINE_AA)
        cover = (hair / 255.0 * 0.75)[..., None]
        image = image * (1 - cover) + 0.05 * cover
    return image


def _truth(card, looks, to_scan):
    """What is true of one card, for JSON. XYZ as in `colours`; builds are medians between the outer black stripes."""
    paint = PAINTS[card.wish.paint]
    left, right = card.black[0][0] - card.left_white, card.black[-1][1] + card.right_white
    top, bottom = max(card.stripe_y[0], 0), min(card.stripe_y[1], card.height)

    def corners(x0, y0, x1, y1):
        """Pixels of the scan, clockwise from the card's own top left; 0, 0 is the outer corner of the first pixel."""
        mapped = np.array([(x0, y0, 1.0), (x1, y0, 1.0), (x1, y1, 1.0), (x0, y1, 1.0)]) @ to_scan.T
        return (mapped[:, :2] / mapped[:, 2:]).tolist()

    seen = looks.spectra([film.build for film in card.films])
    return {
        "paint": card.wish.paint,
        "kind": paint.kind,
        "absorption": paint.absorption.tolist(),
        "scattering": paint.scattering.tolist(),
        "anisotropy": paint.anisotropy,
        "corners": corners(0, 0, card.width, card.height),
        "striped": corners(left, top, right, bottom),
        "mm_to_pixels": to_scan.tolist(),
        "films": [{"top_mm": f.top, "bottom_mm": f.bottom, "build": f.build, "edge": f.edge} for f in card.films],
        "white_xyz": (TO_XYZ @ card.white).tolist(),
        "black_xyz": (TO_XYZ @ card.ink).tolist(),
        "film_xyz": [[(TO_XYZ @ over).tolist() for over in film[:2]] for film in seen],  # [films, white and black, 3]
    }


def _write(path, values, profile, settings, rng):
    """Encoded values 0 to 1 to a file; 16 bits are dithered."""
    profile, dpi = profile if settings.tag_space else None, settings.dpi if settings.tag_resolution else None
    if settings.format in ("png 16", "tiff 16", "tiff 16 deflate"):
        pixels = np.clip(values * 65535 + rng.uniform(0, 1, values.shape), 0, 65535).astype(np.uint16)
        if settings.format == "png 16":
            write_png(path, pixels, profile, dpi)
        else:
            write_tiff(path, pixels, profile, dpi, settings.format == "tiff 16 deflate")
        return
    image = Image.fromarray(np.clip(values * 255 + 0.5, 0, 255).astype(np.uint8))
    tags = ({"icc_profile": profile} if profile else {}) | ({"dpi": (dpi, dpi)} if dpi else {})
    if settings.format == "jpeg":
        image.save(path, quality=settings.quality, subsampling=settings.subsampling, **tags)
    else:
        image.save(path, **({"compression": "tiff_lzw"} if settings.format == "tiff 8" else {}), **tags)


def make(scan, folder):
    """Draws one scan of `sets` into a folder, cards side by side; returns the truth."""
    rng, settings = np.random.default_rng(scan.seed), scan.settings
    px = settings.dpi / 25.4  # pixels per mm
    seen_by = sensor(settings.scanner, rng)
    matrix = np.eye(3) if settings.scanner == "ideal" else driver_matrix(seen_by, rng)
    laid = []
    for wish in scan.wishes:
        card = invent(rng, wish, settings.dirt, settings.ideal)
        looks = Looks(PAINTS[wish.paint], card.grounds, seen_by)
        laid.append((card, looks, *draw(card, looks, px, rng, seen_by)))

    several, right, tallest, places = len(laid) > 1, 0, 0, []  # mm
    for card, *_ in laid:
        angle = np.radians(settings.angle + (rng.normal(0, 1.5) if several else 0))
        across = abs(card.width * np.cos(angle)) + abs(card.height * np.sin(angle))
        down = abs(card.width * np.sin(angle)) + abs(card.height * np.cos(angle))
        places.append((right + MARGIN + across / 2, angle, down))
        right, tallest = right + across + MARGIN, max(tallest, down)
    full = tallest + 2 * MARGIN
    width, height = int((right + MARGIN) * px), int(full * px)

    image = _lid(settings.lid, height, width, px, rng, seen_by)
    view = np.eye(3)
    if settings.perspective:
        square = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
        seen = (square + rng.normal(0, settings.perspective * min(width, height), square.shape)).astype(np.float32)
        view = cv2.getPerspectiveTransform(square, seen).astype(float)
    truths = []
    for (card, looks, drawn, cover), (x, angle, down) in zip(laid, places):
        y = full / 2 + (rng.uniform(-0.5, 0.5) * (full - 2 * MARGIN - down) if several else 0)
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        place = np.eye(3)
        place[:2, :2] = turn * px
        place[:2, 2] = (np.array([x, y]) - turn @ np.array([card.width / 2, card.height / 2])) * px
        to_scan = view @ place
        image = _lay(image, drawn, cover, to_scan, px)
        truths.append(_truth(card, looks, to_scan))
    image = _dust_and_hairs(image, settings, px, rng)
    values, profile = develop(capture(image, settings, px, rng), matrix, settings)
    path = folder / f"{scan.name}.{ENDINGS[settings.format]}"
    _write(path, values, profile, settings, rng)
    return {"scan": path.name, "size": [width, height], "scanner": settings.scanner, "cards": truths}

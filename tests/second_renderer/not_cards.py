"""Draws pictures that hold no drawdown card but have stripes, bars, patches or writing."""
import cv2
import numpy as np
from PIL import Image

PAPER, INK = 238, 20  # 8 bit sRGB


def pictures():
    """Names and pixels [h, w, 3]."""
    rng = np.random.default_rng(1)

    def page():
        return np.full((900, 700, 3), PAPER, np.uint8)

    yield "blank", page()
    yield "black", page() * 0 + 8
    text = page()
    for line in range(26):
        cv2.putText(text, "lorem ipsum dolor sit amet " * 2, (30, 60 + 30 * line), 0, 0.6, (30, 30, 30), 1, cv2.LINE_AA)
    yield "text", text
    barcode, x = page(), 40
    for bar in range(40):
        width = int(rng.integers(3, 14))
        if bar % 2 == 0:
            barcode[200:600, x : x + width] = 15
        x += width
    yield "barcode", barcode
    piano = page()
    for key in range(8):
        piano[100:600, 60 + 70 * key : 128 + 70 * key] = 245
    for key in range(8):
        if key % 7 not in (2, 6):
            piano[100:400, 110 + 70 * key : 150 + 70 * key] = 12
    yield "piano", piano
    shirt = page()
    for stripe in range(1, 9, 2):
        shirt[:, stripe * 78 : (stripe + 1) * 78] = 25
    yield "shirt", shirt
    plaid = shirt.copy()
    for band in range(5):
        rows = slice(150 * band + 60, 150 * band + 120)
        plaid[rows] = (plaid[rows] * 0.6 + np.array([90, 20, 20])).astype(np.uint8)
    yield "plaid", plaid
    stripes = page()
    for stripe in range(3):
        stripes[100:800, 120 + 190 * stripe : 210 + 190 * stripe] = INK
    yield "bare-stripes", stripes
    chart = page()
    for column in range(6):
        for row in range(8):
            chart[60 + 100 * row : 140 + 100 * row, 40 + 105 * column : 130 + 105 * column] = rng.integers(10, 240, 3)
    yield "chart", chart
    checks = page()
    for row in range(8):
        for column in range(8):
            if (row + column) % 2:
                checks[50 + 90 * row : 140 + 90 * row, 85 * column : 85 * column + 85] = INK
    yield "checks", checks
    bars = page()
    for i, (tall, tint) in enumerate(((600, (30, 60, 150)), (420, (150, 30, 30)), (250, (30, 30, 30)), (500, (200, 180, 40)))):
        bars[800 - tall : 800, 100 + 140 * i : 180 + 140 * i] = tint
    yield "bars", bars
    flag = page()
    flag[100:700, 100:250], flag[100:700, 250:400], flag[100:700, 400:550] = (20, 30, 90), 245, (160, 20, 30)
    yield "flag", flag
    soft = cv2.GaussianBlur(rng.normal(size=(800, 1000, 3)).astype(np.float32), (0, 0), 40)
    yield "clouds", ((soft - soft.min()) / (soft.max() - soft.min()) * 255).astype(np.uint8)


def make(folder):
    """Writes them as PNG, 200 dpi."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, pixels in pictures():
        Image.fromarray(pixels).save(folder / f"{name}.png", dpi=(200, 200))

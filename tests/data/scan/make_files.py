"""Makes the small pictures beside it, in kinds that the Rust encoders cannot write.

Needs `pip install pillow tifffile imagecodecs numpy`. Every lossless colour picture holds the same pattern, 64 by 48:
red 4 x, green 5 y, blue 2 (x + y) at 8 bits; red 1000 x + 7, green 1300 y + 11, blue 500 (x + y) + 13 at 16 bits.
"""

import os
import struct
import zlib

import numpy
import tifffile
from PIL import Image

HERE = os.path.dirname(os.path.abspath(__file__))
W, H = 64, 48
y, x = numpy.mgrid[0:H, 0:W]
EIGHT = numpy.dstack([4 * x, 5 * y, 2 * (x + y)]).astype(numpy.uint8)
SIXTEEN = numpy.dstack([1000 * x + 7, 1300 * y + 11, 500 * (x + y) + 13]).astype(numpy.uint16)
WIDE = open(os.path.join(HERE, "matrix-wide.icc"), "rb").read()


def path(name):
    return os.path.join(HERE, name)


def jpegs():
    rgb = Image.fromarray(EIGHT)
    rgb.save(path("baseline.jpg"), quality=90, dpi=(300, 300), icc_profile=WIDE)
    rgb.save(path("progressive.jpg"), quality=90, progressive=True, subsampling=0)
    rgb.save(path("restart.jpg"), quality=90, restart_marker_blocks=3)
    rgb.convert("L").save(path("grey.jpg"))
    rgb.convert("CMYK").save(path("cmyk.jpg"))
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x011A], exif[0x011B], exif[0x0128] = 240.0, 240.0, 2
    exif.get_ifd(0x8769)[0xA001] = 1
    rgb.save(path("turned.jpg"), quality=95, subsampling=0, exif=exif)


def pngs():
    rgb = Image.fromarray(EIGHT)
    rgb.convert("P").save(path("palette.png"))
    rgb.convert("L").save(path("grey.png"))
    rgb.convert("1").save(path("one-bit.png"))
    with open(path("interlaced.png"), "wb") as file:
        file.write(interlaced(SIXTEEN))


def interlaced(pixels):
    """Adam7, no filter (PNG third edition, 8)."""
    rows = b""
    for x0, y0, dx, dy in ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)):
        for row in pixels[y0::dy, x0::dx].astype(">u2"):
            rows += b"\0" + row.tobytes()

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", W, H, 16, 2, 0, 0, 1)
    # 11811 pixels a metre are 300 an inch.
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"sRGB", b"\0") + chunk(b"pHYs", struct.pack(">IIB", 11811, 11811, 1)) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def tiffs():
    common = dict(photometric="rgb", metadata=None, software=None)
    inch = dict(resolution=(400, 400), resolutionunit="INCH")
    tifffile.imwrite(path("plain.tif"), SIXTEEN, byteorder=">", rowsperstrip=7, iccprofile=WIDE, **inch, **common)
    tifffile.imwrite(path("planes.tif"), numpy.moveaxis(SIXTEEN, 2, 0), planarconfig="separate", resolution=(100, 100), resolutionunit="CENTIMETER", **common)
    tifffile.imwrite(path("tiles.tif"), EIGHT, tile=(16, 32), compression="zlib", predictor=True, bigtiff=True, **common)
    tifffile.imwrite(path("lzw.tif"), SIXTEEN, compression="lzw", predictor=True, rowsperstrip=11, **common)
    tifffile.imwrite(path("packbits.tif"), EIGHT, compression="packbits", rowsperstrip=16, **common)
    infrared = numpy.dstack([SIXTEEN, numpy.full((H, W), 1234, numpy.uint16)])
    tifffile.imwrite(path("infrared.tif"), infrared, extrasamples=["unspecified"], **common)
    cover = numpy.dstack([EIGHT, numpy.full((H, W), 255, numpy.uint8)])
    tifffile.imwrite(path("cover.tif"), cover, extrasamples=["unassalpha"], **common)
    with tifffile.TiffWriter(path("pages.tif")) as writer:
        writer.write(EIGHT[::8, ::8], subfiletype=1, **common)
        writer.write(EIGHT, extratags=[(274, "H", 1, 3, True)], **common)
        writer.write(255 - EIGHT, **common)
    tifffile.imwrite(path("cmyk.tif"), numpy.dstack([EIGHT, EIGHT[:, :, 0]]), photometric="separated", metadata=None)
    tifffile.imwrite(path("grey.tif"), SIXTEEN[:, :, 0], photometric="minisblack", metadata=None)
    tifffile.imwrite(path("float.tif"), (SIXTEEN / 65535).astype(numpy.float32), **common)
    tifffile.imwrite(path("jpeg.tif"), EIGHT, compression="jpeg", **common)
    Image.fromarray(EIGHT).convert("P").save(path("palette.tif"))
    Image.fromarray(EIGHT).convert("LAB").save(path("lab.tif"))


if __name__ == "__main__":
    jpegs()
    pngs()
    tiffs()

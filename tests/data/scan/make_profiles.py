"""Makes the ICC profiles beside it and asks another colour-management library what they mean.

Needs `pip install pillow` for the library: Little CMS, called through ctypes because Pillow's own interface stops at
8 bits. Writes *.icc and profiles.csv: profile, 16-bit codes of R, G, B, and X, Y, Z and L*, a*, b* in the D50
connection space (media-relative, no black point compensation, double precision, optimisation off).

The profiles are invented for this test; none belongs to a device.
"""

import ctypes
import glob
import os
import random
import struct

import PIL

HERE = os.path.dirname(os.path.abspath(__file__))
D50 = (0.9642, 1.0, 0.8249)


# --- writing profiles (ICC.1:2001-04 and ICC.1:2022) ---


def s15f16(value):
    return struct.pack(">i", round(value * 65536))


def xyz_tag(values):
    return b"XYZ \0\0\0\0" + b"".join(s15f16(v) for v in values)


def gamma_tag(gamma):
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))


def sampled_tag(values):
    return b"curv\0\0\0\0" + struct.pack(">I", len(values)) + b"".join(struct.pack(">H", round(65535 * v)) for v in values)


def parametric_tag(kind, *parameters):
    return b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + b"".join(s15f16(p) for p in parameters)


def text_tag(text):
    return b"text\0\0\0\0" + text.encode("ascii") + b"\0"


def desc_tag(text):
    ascii_text = text.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(ascii_text)) + ascii_text + bytes(4 + 4 + 2 + 1 + 67)


def mluc_tag(text):
    body = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"GB", len(body), 28) + body


def padded(data):
    return data + bytes(-len(data) % 4)


def profile(version, device_class, space, pcs, tags):
    tags = [(b"cprt", text_tag("none") if version < 4 else mluc_tag("none")), (b"wtpt", xyz_tag(D50))] + tags
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, data in tags:
        table += struct.pack(">4sII", name, offset + len(body), len(data))
        body += padded(data)
    size = offset + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", int(version * 0x01000000) if version == 4 else 0x02400000, device_class, space, pcs)
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(4 + 4 + 4 + 4 + 8) + struct.pack(">I", 0)
    header += b"".join(s15f16(v) for v in D50)
    return header + bytes(128 - len(header)) + table + body


def lab(xyz):
    def f(t):
        return t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116

    fx, fy, fz = (f(max(v, 0) / w) for v, w in zip(xyz, D50))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def clamp(v):
    return min(max(v, 0.0), 1.0)


WIDE = ((0.7977, 0.2880, 0.0000), (0.1352, 0.7119, 0.0000), (0.0313, 0.0001, 0.8249))
ROWS = tuple(zip(*WIDE))


def wide_xyz(rgb):
    return tuple(sum(m * c for m, c in zip(row, rgb)) for row in ROWS)


def scanner(rgb):
    """An invented scanner: bent curves, a little crosstalk, then wide primaries."""
    r, g, b = (c**p for c, p in zip(rgb, (2.1, 2.2, 2.35)))
    return wide_xyz((0.93 * r + 0.07 * g * b, 0.92 * g + 0.05 * r + 0.03 * b, 0.95 * b + 0.05 * g))


def colorants(rows=WIDE):
    return [(name, xyz_tag(v)) for name, v in zip((b"rXYZ", b"gXYZ", b"bXYZ"), rows)]


def curves(*tags):
    return list(zip((b"rTRC", b"gTRC", b"bTRC"), tags))


SRGB = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
SRGB_CURVE = parametric_tag(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def matrix_profiles():
    yield "matrix-srgb", profile(4, b"mntr", b"RGB ", b"XYZ ", [(b"desc", mluc_tag("sRGB for testing"))] + colorants(SRGB) + curves(*[SRGB_CURVE] * 3))
    yield "matrix-wide", profile(2, b"scnr", b"RGB ", b"XYZ ", [(b"desc", desc_tag("Wide gamut for testing"))] + colorants() + curves(*[gamma_tag(2.19921875)] * 3))
    sampled = sampled_tag([(i / 1023) ** 1.8 for i in range(1024)])
    odd = parametric_tag(4, 2.2, 0.95, 0.05, 0.1, 0.06, 0.002, 0.001)
    yield "matrix-mixed", profile(4, b"scnr", b"RGB ", b"XYZ ", [(b"desc", mluc_tag("Three curves for testing"))] + colorants() + curves(sampled, parametric_tag(1, 2.0, 0.98, 0.02), odd))


def lut16(grid):
    entries = 64
    head = b"mft2\0\0\0\0" + bytes([3, 3, grid, 0]) + b"".join(s15f16(v) for v in (1, 0, 0, 0, 1, 0, 0, 0, 1))
    data = head + struct.pack(">HH", entries, entries)
    bend = [(i / (entries - 1)) ** 0.9 for i in range(entries)]
    data += b"".join(struct.pack(">H", round(65535 * v)) for _ in range(3) for v in bend)
    steps = [(i / (grid - 1)) ** (1 / 0.9) for i in range(grid)]
    for r in steps:
        for g in steps:
            for b in steps:
                L, A, B = lab(scanner((r, g, b)))
                data += struct.pack(">3H", *(round(65280 * clamp(v)) for v in (L / 100, (A + 128) / 255, (B + 128) / 255)))
    data += b"".join(struct.pack(">H", round(65535 * i / (entries - 1))) for _ in range(3) for i in range(entries))
    return data


def lut8(grid):
    data = b"mft1\0\0\0\0" + bytes([3, 3, grid, 0]) + b"".join(s15f16(v) for v in (1, 0, 0, 0, 1, 0, 0, 0, 1))
    data += bytes(range(256)) * 3
    steps = [i / (grid - 1) for i in range(grid)]
    for r in steps:
        for g in steps:
            for b in steps:
                L, A, B = lab(scanner((r, g, b)))
                data += bytes(round(255 * clamp(v)) for v in (L / 100, (A + 128) / 255, (B + 128) / 255))
    return data + bytes(range(256)) * 3


def multidimensional(sides):
    """A curves, a table, M curves and a matrix, B curves; to XYZ."""
    a_curves = b"".join(padded(parametric_tag(0, g)) for g in (1.1, 1.0, 0.9))
    m_curves = b"".join(padded(t) for t in (parametric_tag(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045), gamma_tag(2.2), sampled_tag([(i / 255) ** 2 for i in range(256)])))
    b_curves = b"".join(padded(parametric_tag(0, 1.0)) for _ in range(3))
    table = bytes(sides) + bytes(13) + bytes([2, 0, 0, 0])
    for i in range(sides[0]):
        for j in range(sides[1]):
            for k in range(sides[2]):
                r, g, b = i / (sides[0] - 1), j / (sides[1] - 1), k / (sides[2] - 1)
                mixed = (0.94 * r + 0.06 * g, 0.9 * g + 0.1 * r * b, 0.97 * b + 0.03 * g)
                table += struct.pack(">3H", *(round(65535 * clamp(v)) for v in mixed))
    table = padded(table)
    matrix = b"".join(s15f16(v * 32768 / 65535) for row in ROWS for v in row) + b"".join(s15f16(v) for v in (0.001, 0.0012, 0.0009))
    offset = 32
    parts = [b_curves, matrix, m_curves, table, a_curves]
    offsets = []
    for part in parts:
        offsets.append(offset)
        offset += len(part)
    return b"mAB \0\0\0\0" + bytes([3, 3, 0, 0]) + struct.pack(">5I", *offsets) + b"".join(parts)


def table_profiles():
    yield "table-16", profile(2, b"scnr", b"RGB ", b"Lab ", [(b"desc", desc_tag("Table of 16 bits for testing")), (b"A2B0", lut16(13))])
    yield "table-8", profile(2, b"scnr", b"RGB ", b"Lab ", [(b"desc", desc_tag("Table of 8 bits for testing")), (b"A2B0", lut8(9))])
    yield "table-mab", profile(4, b"scnr", b"RGB ", b"XYZ ", [(b"desc", mluc_tag("Multidimensional table for testing")), (b"A2B0", multidimensional((9, 11, 7))), (b"A2B1", multidimensional((9, 11, 7)))])


def others():
    yield "grey", profile(2, b"scnr", b"GRAY", b"XYZ ", [(b"desc", desc_tag("Grey for testing")), (b"kTRC", gamma_tag(2.2))])
    cmyk = b"mft1\0\0\0\0" + bytes([4, 3, 2, 0]) + b"".join(s15f16(v) for v in (1, 0, 0, 0, 1, 0, 0, 0, 1)) + bytes(range(256)) * 4
    cmyk += bytes([200, 128, 128] * 16) + bytes(range(256)) * 3
    yield "cmyk", profile(2, b"prtr", b"CMYK", b"Lab ", [(b"desc", desc_tag("CMYK for testing")), (b"A2B0", cmyk)])


# --- asking Little CMS ---

TYPE_RGB_DBL = (1 << 22) | (4 << 16) | (3 << 3)  # FLOAT_SH(1), COLORSPACE_SH(PT_RGB), CHANNELS_SH(3), BYTES_SH(0)
TYPE_XYZ_DBL = (1 << 22) | (9 << 16) | (3 << 3)
TYPE_LAB_DBL = (1 << 22) | (10 << 16) | (3 << 3)
RELATIVE_COLORIMETRIC = 1
NO_CACHE, NO_OPTIMISE = 0x0040, 0x0100


def library():
    found = glob.glob(os.path.join(os.path.dirname(PIL.__file__), "..", "pillow.libs", "liblcms2-*"))
    lcms = ctypes.CDLL(found[0] if found else "liblcms2.so.2")
    lcms.cmsOpenProfileFromMem.restype = ctypes.c_void_p
    lcms.cmsCreateXYZProfile.restype = ctypes.c_void_p
    lcms.cmsCreateLab4Profile.restype = ctypes.c_void_p
    lcms.cmsCreateLab4Profile.argtypes = [ctypes.c_void_p]
    lcms.cmsCreateTransform.restype = ctypes.c_void_p
    lcms.cmsCreateTransform.argtypes = [ctypes.c_void_p, ctypes.c_uint32, ctypes.c_void_p, ctypes.c_uint32, ctypes.c_uint32, ctypes.c_uint32]
    lcms.cmsDoTransform.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_uint32]
    return lcms


def convert(lcms, data, colours, target, kind):
    source = lcms.cmsOpenProfileFromMem(data, len(data))
    transform = lcms.cmsCreateTransform(source, TYPE_RGB_DBL, target, kind, RELATIVE_COLORIMETRIC, NO_CACHE | NO_OPTIMISE)
    count = len(colours)
    given = (ctypes.c_double * (3 * count))(*[v / 65535 for c in colours for v in c])
    answer = (ctypes.c_double * (3 * count))()
    lcms.cmsDoTransform(transform, given, answer, count)
    return [tuple(answer[3 * i : 3 * i + 3]) for i in range(count)]


def main():
    lcms = library()
    random.seed(7)
    ends = [0, 65535, 32896]
    colours = [(r, g, b) for r in ends for g in ends for b in ends]
    colours += [(257 * v, 257 * v, 257 * v) for v in (1, 3, 10, 20, 40, 80, 119, 200, 250)]
    colours += [tuple(random.randrange(65536) for _ in range(3)) for _ in range(60)]
    colours += [tuple(random.randrange(9000) for _ in range(3)) for _ in range(24)]
    version = lcms.cmsGetEncodedCMMversion()
    rows = [f"# Little CMS {version / 1000:g}; see make_profiles.py", "profile,r,g,b,x,y,z,lightness,a,b"]
    for name, data in [*matrix_profiles(), *table_profiles()]:
        with open(os.path.join(HERE, name + ".icc"), "wb") as file:
            file.write(data)
        xyz = convert(lcms, data, colours, lcms.cmsCreateXYZProfile(), TYPE_XYZ_DBL)
        lab = convert(lcms, data, colours, lcms.cmsCreateLab4Profile(None), TYPE_LAB_DBL)
        for row in zip(colours, xyz, lab):
            rows.append(",".join([name, *map(str, row[0]), *(f"{v:.8f}" for v in row[1]), *(f"{v:.5f}" for v in row[2])]))
    for name, data in others():
        with open(os.path.join(HERE, name + ".icc"), "wb") as file:
            file.write(data)
    with open(os.path.join(HERE, "profiles.csv"), "w") as file:
        file.write("\n".join(rows) + "\n")


if __name__ == "__main__":
    main()

"""ICC profiles, and PNG and TIFF with 16 bits a channel, which Pillow does not write in colour."""
import struct
import zlib

import numpy as np

from colours import WHITE


def _fixed(values):
    """s15Fixed16 numbers of ICC.1:2010, 4.6."""
    return b"".join(struct.pack(">i", int(round(v * 65536))) for v in values)


def _xyz_tag(values):
    return b"XYZ \0\0\0\0" + _fixed(values)


def icc_profile(to_xyz, curve, description, is_scanner):
    """A matrix profile (ICC.1:2010; version 4 with a parametric curve, else 2).

    `to_xyz` [3, 3]: linear values to XYZ, D50. `curve`: "srgb", "table" (a square, as 1024 values) or a number, the gamma."""
    if curve == "srgb":
        tone = b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + _fixed((2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    elif curve == "table":
        table = ((np.arange(1024) / 1023) ** 2.0 * 65535 + 0.5).astype(">u2")
        tone = b"curv\0\0\0\0" + struct.pack(">I", 1024) + table.tobytes()
    else:
        tone = b"curv\0\0\0\0" + struct.pack(">IH", 1, int(round(curve * 256))) + b"\0\0"
    text = description.encode() + b"\0"
    tags = [(b"desc", b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + b"\0" * (8 + 3 + 67)), (b"cprt", b"text\0\0\0\0none\0")]
    tags += [(b"wtpt", _xyz_tag(WHITE))]
    tags += [(name, _xyz_tag(to_xyz[:, i])) for i, name in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))]
    tags += [(name, tone) for name in (b"rTRC", b"gTRC", b"bTRC")]
    start, body, table = 128 + 4 + 12 * len(tags), b"", struct.pack(">I", len(tags))
    for name, data in tags:
        data += b"\0" * (-len(data) % 4)
        table += name + struct.pack(">II", start + len(body), len(data))
        body += data
    version, device = (0x04200000 if curve == "srgb" else 0x02400000), (b"scnr" if is_scanner else b"mntr")
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"none", version, device, b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28 + _fixed(WHITE)
    return head + b"\0" * (128 - len(head)) + table + body


def write_png(path, pixels, profile, dpi):
    """Pixels [h, w, 3] of 16 bits; profile and dpi may be None."""
    height, width, _ = pixels.shape

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = np.zeros((height, 1 + width * 6), np.uint8)
    rows[:, 1:] = np.ascontiguousarray(pixels.astype(">u2")).view(np.uint8).reshape(height, -1)
    out = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0))
    if profile:
        out += chunk(b"iCCP", b"p\0\0" + zlib.compress(profile))
    if dpi:
        per_metre = int(round(dpi / 0.0254))
        out += chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1))
    path.write_bytes(out + chunk(b"IDAT", zlib.compress(rows.tobytes(), 1)) + chunk(b"IEND", b""))


def write_tiff(path, pixels, profile, dpi, deflate):
    """Pixels [h, w, 3] of 16 bits, in strips of 64 rows (TIFF 6.0; compression 8 is Deflate); profile and dpi may be None."""
    height, width, _ = pixels.shape
    short, long, ratio, undefined = (3, "H"), (4, "I"), (5, "II"), (7, "B")
    data, starts, lengths = b"", [], []
    for y in range(0, height, 64):
        strip = np.ascontiguousarray(pixels[y : y + 64].astype("<u2")).tobytes()
        strip = zlib.compress(strip, 1) if deflate else strip
        starts.append(8 + len(data))
        lengths.append(len(strip))
        data += strip + b"\0" * (len(strip) % 2)
    entries = [(256, long, [width]), (257, long, [height]), (258, short, [16] * 3), (259, short, [8 if deflate else 1]), (262, short, [2])]
    entries += [(273, long, starts), (277, short, [3]), (278, long, [64]), (279, long, lengths), (284, short, [1])]
    if dpi:
        entries += [(282, ratio, [int(dpi), 1]), (283, ratio, [int(dpi), 1]), (296, short, [2])]
    if profile:
        entries += [(34675, undefined, list(profile))]
    directory, extra = struct.pack("<H", len(entries)), b""
    extra_start = 8 + len(data) + 2 + 12 * len(entries) + 4
    for tag, (kind, letters), values in sorted(entries):
        packed = struct.pack(f"<{len(values)}{letters[0]}", *values)
        value = packed + b"\0" * (4 - len(packed))
        if len(packed) > 4:
            value = struct.pack("<I", extra_start + len(extra))
            extra += packed + b"\0" * (len(packed) % 2)
        directory += struct.pack("<HHI", tag, kind, len(values) // len(letters)) + value
    head = struct.pack("<2sHI", b"II", 42, 8 + len(data))
    path.write_bytes(head + data + directory + struct.pack("<I", 0) + extra)

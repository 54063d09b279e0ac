#!/usr/bin/env python3
"""Writes the HEIC files in this folder. Needs pillow-heif (libheif with an HEVC encoder).

Usage: make_heic.py, in this folder. The pictures have four quarters: red, green / blue, white,
seen upright. tiny.heic is stored as it is seen; turned.heic is stored a quarter to the left and
says so (Exif orientation 6, which libheif writes as the format's own turn), and holds a small
JPEG in its Exif block, as some phones do.
"""

import io
import struct

import pillow_heif
from PIL import Image

pillow_heif.register_heif_opener()


def drawn(width, height):
    picture = Image.new("RGB", (width, height), (200, 30, 30))
    picture.paste((30, 160, 40), (width // 2, 0, width, height // 2))
    picture.paste((40, 50, 200), (0, height // 2, width // 2, height))
    picture.paste((240, 240, 240), (width // 2, height // 2, width, height))
    return picture


def exif_block(orientation, thumbnail=None):
    """A big-endian TIFF with a camera, a time, a position, and a thumbnail in its second
    directory."""
    def ascii_(text):
        return text.encode() + b"\0"

    def ifd(entries, at, next_at):
        """Entries are (tag, type, count, bytes); long values go behind the directory."""
        head = struct.pack(">H", len(entries))
        data_at = at + 2 + 12 * len(entries) + 4
        body, tail = b"", b""
        for tag, kind, count, value in sorted(entries):
            if len(value) <= 4:
                field = value.ljust(4, b"\0")
            else:
                field = struct.pack(">I", data_at + len(tail))
                tail += value + b"\0" * (len(value) % 2)
            body += struct.pack(">HHI", tag, kind, count) + field
        return head + body + struct.pack(">I", next_at(data_at + len(tail)) if next_at else 0) + tail

    def rational(*values):
        return b"".join(struct.pack(">II", n, d) for n, d in values)

    sub = [(0x9003, 2, 20, ascii_("2026:03:04 14:03:20")), (0x9291, 2, 3, ascii_("25")),
           (0x9011, 2, 7, ascii_("+01:00")), (0xA431, 2, 6, ascii_("B0042")),
           (0xA430, 2, 8, ascii_("Bench A"))]
    gps = [(0, 1, 4, bytes([2, 3, 0, 0])), (1, 2, 2, b"N\0"),
           (2, 5, 3, rational((12, 1), (30, 1), (0, 1))), (3, 2, 2, b"E\0"),
           (4, 5, 3, rational((17, 1), (15, 1), (0, 1)))]
    first = [(0x010F, 2, 6, ascii_("Bench")), (0x0110, 2, 9, ascii_("Pocket 3")),
             (0x013B, 2, 8, ascii_("Bench A")), (0x0112, 3, 1, struct.pack(">H", orientation))]
    # Two passes: the first finds the offsets.
    offsets = (0, 0)
    for _ in range(2):
        entries = first + [(0x8769, 4, 1, struct.pack(">I", offsets[0])),
                           (0x8825, 4, 1, struct.pack(">I", offsets[1]))]
        size = len(ifd(entries, 8, None))
        sub_at = 8 + size
        gps_at = sub_at + len(ifd(sub, sub_at, None))
        offsets = (sub_at, gps_at)
    thumb_at = gps_at + len(ifd(gps, gps_at, None))
    out = b"MM\0*" + struct.pack(">I", 8)
    out += ifd(entries, 8, (lambda _: thumb_at) if thumbnail else None)
    out += ifd(sub, sub_at, None) + ifd(gps, gps_at, None)
    if thumbnail:
        fields = [(0x0103, 3, 1, struct.pack(">H", 6)), (0x0201, 4, 1, struct.pack(">I", 0)),
                  (0x0202, 4, 1, struct.pack(">I", len(thumbnail)))]
        data_at = thumb_at + len(ifd(fields, thumb_at, None))
        fields[1] = (0x0201, 4, 1, struct.pack(">I", data_at))
        out += ifd(fields, thumb_at, None) + thumbnail
    return b"Exif\0\0" + out


def main():
    drawn(96, 64).save("tiny.heic", exif=exif_block(1), quality=60)
    small = io.BytesIO()
    stored = drawn(64, 96).rotate(90, expand=True)
    stored.resize((48, 32)).save(small, "JPEG", quality=70)
    stored.save("turned.heic", exif=exif_block(6, small.getvalue()), quality=60)


if __name__ == "__main__":
    main()

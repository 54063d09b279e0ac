#!/usr/bin/env python3
"""Checks of files that other programs write, and of copies that other programs read.

- Stripped and covered copies of JPEG, PNG, WebP and HEIC files that ExifTool filled with
  position, names, serial numbers and texts: ExifTool finds none of them in the copy, and the
  picture is the same, pixel for pixel (Pillow, libheif).
- QuickTime's named texts as ExifTool writes them: creation date, make, model, position.
- Exif in a PNG's text, as ImageMagick used to write it.
- The burst's name in one maker's notes, as ExifTool reads it.
- HEIC pictures by libheif's encoder in each orientation and several sizes, against libheif's
  decoder.

Needs ExifTool (Debian package libimage-exiftool-perl), Pillow and pillow-heif (PyPI).
Usage: outside_kinds.py. Exit code 0 only if everything agrees.
"""

import io
import json
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path

import numpy as np
import pillow_heif
from PIL import Image, ImageOps, PngImagePlugin

ROOT = Path(__file__).resolve().parents[3]
FAULTS = []


def expect(what, found, wanted):
    if found != wanted:
        FAULTS.append(f"{what}: {found!r}, expected {wanted!r}")


def build(*names):
    command = ["cargo", "build", "-q", "-p", "datumtrail-photo", "--features", "heic",
               "--message-format=json", *(a for n in names for a in ("--example", n))]
    lines = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    found = {}
    for line in lines.splitlines():
        message = json.loads(line)
        if message.get("executable"):
            found[message["target"]["name"]] = message["executable"]
    return [found[name] for name in names]


def exiftool(*args):
    done = subprocess.run(["exiftool", *map(str, args)], stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, text=True)
    if done.returncode:
        sys.exit(f"exiftool {args}: {done.stderr}")
    return done.stdout


def read(corpus, file):
    done = subprocess.run([corpus, "read", str(file)], check=True, stdout=subprocess.PIPE)
    return json.loads(done.stdout)[Path(file).name]


def drawn(width, height, seed=1):
    """Smooth shapes with some noise, unlike on each side."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width]
    waves = [np.sin(x / width * a + y / height * b + c) for a, b, c in rng.uniform(2, 14, (3, 3))]
    shades = np.stack([128 + 90 * w for w in waves], axis=-1)
    shades[: height // 3, : width // 2] += 60
    noise = rng.normal(0, 4, shades.shape)
    return Image.fromarray(np.clip(shades + noise, 0, 255).astype(np.uint8))


SECRET_TAGS = ["-EXIF:GPSLatitude=12.5", "-EXIF:GPSLatitudeRef=N", "-EXIF:GPSLongitude=17.25",
               "-EXIF:GPSLongitudeRef=E", "-EXIF:Artist=SECRETNAME", "-EXIF:OwnerName=SECRETNAME",
               "-EXIF:Copyright=SECRETNAME", "-EXIF:SerialNumber=SECRETNUMBER",
               "-EXIF:LensSerialNumber=SECRETNUMBER", "-EXIF:ImageUniqueID=SECRETNUMBER",
               "-EXIF:ImageDescription=SECRETTEXT", "-EXIF:UserComment=SECRETTEXT",
               "-EXIF:XPAuthor=SECRETNAME", "-EXIF:HostComputer=SECRETTEXT"]
KEPT_TAGS = {"DateTimeOriginal": "2026:03:04 14:03:20", "Make": "Bench", "Model": "Pocket 3",
             "ExposureTime": "1/60", "FNumber": 2.8}
XMP_TAGS = ["-XMP:Creator=SECRETNAME", "-XMP-exif:GPSLatitude=12.5", "-XMP:Title=SECRETTEXT"]


def check_strip(copier, work):
    pillow_heif.register_heif_opener()
    kinds = {"jpg": [*XMP_TAGS, "-IPTC:By-line=SECRETNAME", "-Comment=SECRETTEXT"],
             "png": [*XMP_TAGS, "-PNG:Author=SECRETNAME"], "webp": XMP_TAGS, "heic": XMP_TAGS}
    for kind, more in kinds.items():
        file, copy = work / f"secret.{kind}", work / f"copy.{kind}"
        options = {"jpg": {"quality": 90, "progressive": True}, "webp": {"quality": 90}}
        drawn(160, 120).save(file, **options.get(kind, {}))
        exiftool("-q", "-overwrite_original", *SECRET_TAGS, *more,
                 *(f"-EXIF:{k}={v}" for k, v in KEPT_TAGS.items()), file)
        subprocess.run([copier, "strip", str(file), str(copy)], check=True)
        everything = exiftool("-a", "-u", "-U", "-ee", "-G1", "-s", copy)
        for line in everything.splitlines():
            value = line.split(":", 1)[-1]
            inner = "ExifTool" not in line and "System" not in line
            if "SECRET" in value or ("GPS" in line and inner):
                FAULTS.append(f"{kind}: still there: {line}")
        if b"SECRET" in copy.read_bytes():
            FAULTS.append(f"{kind}: a secret is still among the bytes")
        kept = json.loads(exiftool("-json", *(f"-EXIF:{k}" for k in KEPT_TAGS), copy))[0]
        expect(f"{kind}: kept", {k: kept.get(k) for k in KEPT_TAGS}, KEPT_TAGS)
        warnings = exiftool("-s3", "-a", "-Warning", "-Error", copy).strip()
        expect(f"{kind}: ExifTool's warnings", warnings, "")
        with Image.open(file) as before, Image.open(copy) as after:
            same = np.array_equal(np.asarray(before.convert("RGB")), np.asarray(after.convert("RGB")))
            expect(f"{kind}: pixels are the same", same, True)
        covered = work / "covered.jpg"
        subprocess.run([copier, "cover", str(file), str(covered), "40,30,50,40"], check=True)
        with Image.open(covered) as seen:
            patch = np.asarray(seen.convert("L"))[34:66, 44:86]
            expect(f"{kind}: covered", bool(np.abs(patch.astype(int) - 40).max() < 15), True)
        if b"SECRET" in covered.read_bytes() or "GPS" in exiftool("-G1", "-GPS:all", covered):
            FAULTS.append(f"{kind}: the covered copy holds a secret")
    print("copies: JPEG, PNG, WebP and HEIC read by ExifTool, Pillow and libheif")


def box(name, *parts):
    body = b"".join(parts)
    return struct.pack(">I", 8 + len(body)) + name + body


def check_movie(corpus, work):
    folder = work / "files"
    subprocess.run([corpus, "write", str(folder)], check=True)
    file = work / "named.mov"
    shutil.copy(folder / "video.mov", file)
    exiftool("-q", "-overwrite_original", "-Keys:CreationDate=2026:03:04 14:03:20+01:00",
             "-Keys:Make=Bench", "-Keys:Model=Phone 2",
             "-Keys:GPSCoordinates=12.5, 17.25, 0", file)
    ours = read(corpus, file)
    taken = ours["taken"]
    expect("creation date", (taken["civil"], taken["offset"], taken["source"]),
           ("2026-03-04T14:03:20", "+01:00", "container"))
    expect("movie's camera", (ours["camera"]["make"], ours["camera"]["model"]), ("Bench", "Phone 2"))
    expect("movie's position", ours["has_gps"], True)
    expect("plain movie's position", read(corpus, folder / "video.mov")["has_gps"], False)
    print("QuickTime's named texts: as ExifTool writes them")


def raw_profile(block):
    hexed = block.hex()
    lines = "\n".join(hexed[i:i + 72] for i in range(0, len(hexed), 72))
    return f"\nexif\n{len(block):8}\n{lines}\n"


def check_png_text(corpus, work):
    exif = Image.Exif()
    exif[0x010F] = "Bench"
    exif[0x0132] = "2026:03:04 14:03:20"
    block = exif.tobytes()
    for compressed in (False, True):
        file = work / f"text_{compressed}.png"
        info = PngImagePlugin.PngInfo()
        info.add_text("Raw profile type exif", raw_profile(block), zip=compressed)
        drawn(32, 24).save(file, pnginfo=info)
        ours = read(corpus, file)
        theirs = json.loads(exiftool("-json", "-Make", "-ModifyDate", file))[0]
        expect("PNG text's make", ours["camera"]["make"], theirs["Make"])
        expect("PNG text's time", ours["taken"]["civil"].replace("-", ":").replace("T", " "),
               theirs["ModifyDate"])
    # The date of a PNG that has nothing else.
    file = work / "dated.png"
    plain = io.BytesIO()
    drawn(32, 24).save(plain, "PNG")
    when = struct.pack(">HBBBBB", 2026, 3, 4, 13, 3, 20)
    chunk = struct.pack(">I", 7) + b"tIME" + when + struct.pack(">I", zlib.crc32(b"tIME" + when))
    data = plain.getvalue()
    file.write_bytes(data[:33] + chunk + data[33:])
    theirs = json.loads(exiftool("-json", "-PNG:ModifyDate", file))[0]["ModifyDate"]
    taken = read(corpus, file)["taken"]
    expect("PNG's own date", taken["civil"].replace("-", ":").replace("T", " "), theirs)
    expect("PNG's own date is labelled", taken["source"], "container")
    print("PNG: Exif in a text, compressed or not, and the file's own date")


def check_burst(corpus, work):
    name = b"6F9B2C1A-0D3E-4B7A-9C55-0123456789AB\0"
    notes = b"Apple iOS\0\0\x01MM" + struct.pack(">HHHII", 1, 0x000B, 2, len(name), 14 + 2 + 12 + 4)
    notes += struct.pack(">I", 0) + name
    make = b"Apple\0"
    # Two directories: make and the pointer; the notes.
    ifd0_at, sub_at = 8, 8 + 2 + 24 + 4 + len(make)
    notes_at = sub_at + 2 + 12 + 4
    block = b"MM\0*" + struct.pack(">I", ifd0_at)
    block += struct.pack(">H", 2) + struct.pack(">HHII", 0x010F, 2, len(make), sub_at - len(make))
    block += struct.pack(">HHII", 0x8769, 4, 1, sub_at) + struct.pack(">I", 0) + make
    block += struct.pack(">H", 1) + struct.pack(">HHII", 0x927C, 7, len(notes), notes_at)
    block += struct.pack(">I", 0) + notes
    file = work / "burst.jpg"
    drawn(32, 24).save(file, exif=b"Exif\0\0" + block)
    theirs = json.loads(exiftool("-json", "-Apple:BurstUUID", file))[0]["BurstUUID"]
    expect("burst", read(corpus, file)["burst"], theirs)
    print("bursts: the maker's notes as ExifTool reads them")


def best_shift(theirs, ours):
    height, width, _ = theirs.shape
    inner = ours[2:height - 2, 2:width - 2]
    shifts = [(x, y) for x in (0, -1, 1) for y in (0, -1, 1)]
    return min(shifts, key=lambda s: np.abs(
        theirs[2 + s[1]:height - 2 + s[1], 2 + s[0]:width - 2 + s[0]] - inner).mean())


def check_heic(copier, work):
    pillow_heif.register_heif_opener()
    worst = 0.0
    count = 0
    cases = [((64, 48), 60, o) for o in range(1, 9)]
    cases += [((w, h), q, 1) for w, h in ((33, 17), (640, 480), (1001, 777), (2048, 1536))
              for q in (20, 60, 95)]
    for (width, height), quality, orientation in cases:
        file, small = work / "picture.heic", work / "shown.jpg"
        exif = Image.Exif()
        exif[0x0112] = orientation
        drawn(width, height, seed=width + quality).save(file, quality=quality, exif=exif.tobytes())
        said = subprocess.run([copier, "likeness", str(file), str(small)], check=True,
                              stdout=subprocess.PIPE, text=True).stdout.strip()
        expect(f"HEIC {width}x{height} q{quality} o{orientation}", said, "picture")
        if said != "picture":
            continue
        count += 1
        with Image.open(file) as big, Image.open(small) as ours:
            theirs = ImageOps.exif_transpose(big).convert("RGB")
            theirs.thumbnail((512, 512), Image.Resampling.LANCZOS, reducing_gap=None)
            expect(f"HEIC {width}x{height} o{orientation}: size", ours.size, theirs.size)
            if ours.size != theirs.size:
                continue
            theirs, ours = np.asarray(theirs, dtype=float), np.asarray(ours.convert("RGB"), dtype=float)
            if width < 100:
                # So few pixels show how each side spreads colours between them, so what is asked is
                # whether they lie where they should: no shift by a pixel fits better.
                expect(f"HEIC {width}x{height} q{quality} o{orientation}: best shift",
                       best_shift(theirs, ours), (0, 0))
            else:
                worst = max(worst, float(np.abs(theirs - ours).mean()))
    expect("HEIC's largest mean difference is below 4 of 255", worst < 4, True)
    print(f"HEIC: {count} pictures decoded as libheif does, largest mean difference {worst:.2f} of 255")


def main():
    if not shutil.which("exiftool"):
        sys.exit("exiftool is not installed (Debian package libimage-exiftool-perl)")
    copier, corpus = build("export_copy", "exif_corpus")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        check_strip(copier, work)
        check_movie(corpus, work)
        check_png_text(corpus, work)
        check_burst(corpus, work)
        check_heic(copier, work)
    for fault in FAULTS:
        print("  " + fault)
    sys.exit(1 if FAULTS else 0)


if __name__ == "__main__":
    main()

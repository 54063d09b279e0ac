#!/usr/bin/env python3
"""Compares what datumtrail-photo reads from picture files with what ExifTool reads.

Needs ExifTool (Debian package libimage-exiftool-perl). Previews are also compared where
Pillow is installed, the turns of HEIC files where pillow-heif (libheif) is, and identities
where b3sum is; without them the script says so.

Usage: tests/outside/exif.py [FOLDER]

The files are written by an example of the crate. With FOLDER, every picture below it is
compared too: give it whatever sample pictures are at hand.

Exit code 0 only if everything agrees.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KINDS = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif", ".mp4", ".mov"}


def build():
    command = ["cargo", "build", "-q", "-p", "datumtrail-photo", "--example", "exif_corpus",
               "--message-format=json"]
    lines = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    for line in lines.splitlines():
        message = json.loads(line)
        if message.get("executable") and message["target"]["name"] == "exif_corpus":
            return message["executable"]
    sys.exit("cargo built no exif_corpus")


def exiftool(files):
    # -n: numbers as they are in the file; -G1: with the group, so that the same tag of
    # another group is not mistaken for Exif's.
    command = ["exiftool", "-json", "-n", "-G1", "-MIMEType", "-ImageWidth", "-ImageHeight",
               "-IFD0:all", "-ExifIFD:all", "-GPS:all", "-QuickTime:all", "-Track1:all",
               "-Meta:all", "-File:all", *files]
    found = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    return {Path(entry["SourceFile"]).name: entry for entry in json.loads(found.stdout)}


def text(value):
    """ExifTool prints numbers for texts that look like numbers."""
    if value is None:
        return None
    cleaned = str(value).strip()
    return cleaned or None


def expected_time(tags):
    """ExifTool's fields, put together by the rule that Datumtrail documents: the first of
    the three times that exists as a date, with its own sub-seconds and offset."""
    groups = [
        ("original", "ExifIFD:DateTimeOriginal", "ExifIFD:SubSecTimeOriginal", "ExifIFD:OffsetTimeOriginal"),
        ("digitized", "ExifIFD:CreateDate", "ExifIFD:SubSecTimeDigitized", "ExifIFD:OffsetTimeDigitized"),
        ("changed", "IFD0:ModifyDate", "ExifIFD:SubSecTime", "ExifIFD:OffsetTime"),
    ]
    from datetime import datetime
    for source, time, sub_sec, offset in groups:
        try:
            when = datetime.strptime(text(tags.get(time)) or "", "%Y:%m:%d %H:%M:%S")
        except ValueError:
            continue
        digits = (text(tags.get(sub_sec)) or "")[:9]
        fraction = ("." + digits).rstrip("0").rstrip(".") if digits.isdigit() else ""
        zone = text(tags.get(offset))
        if zone and not any(c.isdigit() for c in zone):
            zone = None
        return {"source": source, "civil": when.isoformat() + fraction, "offset": zone}
    return None


def expected_gps_time(tags):
    day, time = text(tags.get("GPS:GPSDateStamp")), text(tags.get("GPS:GPSTimeStamp"))
    if not day or not time:
        return None
    hours, minutes, seconds = time.split(":")
    return f"{day.replace(':', '-')}T{int(hours):02}:{int(minutes):02}:{float(seconds):06.3f}"


def compare(name, ours, tags):
    """The differences, as lines."""
    if "error" in ours:
        return [f"refused: {ours['error']}"]
    out = []

    def same(what, mine, theirs):
        if mine != theirs:
            out.append(f"{what}: {mine!r}, ExifTool {theirs!r}")

    same("media type", ours["media_type"], tags.get("File:MIMEType"))
    size = ours["dimensions"] or {}
    first = lambda *names: next((tags[n] for n in names if n in tags), None)
    # HEIF's extent is printed "4000x3000"; ExifTool prefers other figures for the plain
    # width and height, so the extent itself is compared.
    extent = first("Meta1:ImageSpatialExtent", "Meta:ImageSpatialExtent", "QuickTime:ImageSpatialExtent")
    if extent:
        wide, high = (int(n) for n in str(extent).replace("x", " ").split())
    elif name.endswith((".tif", ".tiff")):
        wide, high = tags.get("IFD0:ImageWidth"), tags.get("IFD0:ImageHeight")
    else:
        sizes = ["File:Image", "PNG:Image", "RIFF:Image", "Track1:Image"]
        wide = first(*[s + "Width" for s in sizes])
        high = first(*[s + "Height" for s in sizes])
    same("width", size.get("width"), wide)
    same("height", size.get("height"), high)

    for field, tag in [("make", "IFD0:Make"), ("model", "IFD0:Model"),
                       ("serial", "ExifIFD:SerialNumber")]:
        same(field, ours["camera"][field], text(tags.get(tag)))

    taken = ours["taken"]
    if name.endswith((".mp4", ".mov")):
        created = text(tags.get("QuickTime:CreateDate"))
        same("time", taken and taken["civil"].replace("-", ":").replace("T", " "), created)
    else:
        mine = taken and {key: taken[key] for key in ("source", "civil", "offset")}
        same("time", mine, expected_time(tags))
    gps = ours["gps_time"]
    if gps:
        whole, _, fraction = gps.rstrip("Z").partition(".")
        gps = f"{whole}.{fraction[:3]:0<3}"
    same("GPS time", gps, expected_gps_time(tags))
    same("has a position", ours["has_gps"],
         "GPS:GPSLatitude" in tags and "GPS:GPSLongitude" in tags)

    if extent:
        # ExifTool gives the figure as it is; the standard (ISO/IEC 23008-12, from memory)
        # counts anti-clockwise, as phones do: 270 beside an Exif orientation of 6.
        turn = first("Meta1:Rotation", "Meta:Rotation", "QuickTime:Rotation") or 0
        same("turn", ours["orientation"], {0: 1, 90: 8, 180: 3, 270: 6}[int(turn)])
    elif not name.endswith((".mp4", ".mov")):
        orientation = tags.get("IFD0:Orientation", 1)
        same("orientation", ours["orientation"], orientation if 1 <= orientation <= 8 else 1)
    return out


def compare_previews(example, files, work):
    try:
        from PIL import Image, ImageChops, ImageOps, ImageStat
    except ImportError:
        print("Pillow is not installed: previews not compared")
        return []
    out = []
    worst = 0.0
    cmyk = work / "cmyk.jpg"
    with Image.open(files[0]) as source:
        source.convert("RGB").resize((900, 700)).convert("CMYK").save(cmyk, quality=92)
    for file in [*files, cmyk]:
        small = work / "small.jpg"
        subprocess.run([example, "preview", str(file), str(small)], check=True)
        with Image.open(file) as big, Image.open(small) as ours:
            theirs = ImageOps.exif_transpose(big).convert("RGB")
            theirs.thumbnail((512, 512), Image.Resampling.LANCZOS, reducing_gap=None)
            if theirs.size != ours.size:
                out.append(f"{file.name}: preview {ours.size}, Pillow {theirs.size}")
                continue
            difference = ImageChops.difference(theirs, ours.convert("RGB"))
            mean = max(ImageStat.Stat(difference).mean)
            worst = max(worst, mean)
            if mean > 4:
                out.append(f"{file.name}: preview differs from Pillow's by {mean:.1f} on average")
    print(f"previews: {len(files) + 1} compared with Pillow, "
          f"largest mean difference {worst:.2f} of 255")
    return out


def compare_turned_heif(example, work):
    """Real HEIC files by libheif, which writes an orientation as the format's own turn and
    mirror: what is read must be what libheif undoes when it decodes."""
    try:
        import pillow_heif
        from PIL import Image
    except ImportError:
        print("pillow-heif is not installed: turns of HEIC not compared")
        return []
    pillow_heif.register_heif_opener()
    drawn = Image.new("RGB", (320, 240))
    drawn.paste((255, 255, 255), (0, 0, 160, 120))
    out = []
    # Where Exif 2.32 puts the stored picture's top left corner.
    corners = ["top left", "top right", "bottom right", "bottom left"] * 2
    for orientation, corner in enumerate(corners, start=1):
        file = work / f"libheif_{orientation}.heic"
        exif = Image.Exif()
        exif[0x0112] = orientation
        drawn.save(file, exif=exif.tobytes(), quality=90)
        read = subprocess.run([example, "read", str(file)], check=True, stdout=subprocess.PIPE)
        ours = json.loads(read.stdout)[file.name]
        with Image.open(file) as seen:
            wide, high = seen.size
            spots = {"top left": (9, 9), "top right": (wide - 9, 9),
                     "bottom left": (9, high - 9), "bottom right": (wide - 9, high - 9)}
            white = [name for name, spot in spots.items() if seen.getpixel(spot)[0] > 128]
        expected = [corner, (240, 320) if orientation > 4 else (320, 240)]
        if [*white, (wide, high)] != expected or ours["orientation"] != orientation \
                or ours["dimensions"] != {"width": 320, "height": 240}:
            out.append(f"{file.name}: {ours['orientation']}, {ours['dimensions']}, seen {white}")
    print("HEIC by libheif: eight orientations compared")
    return out


def compare_identities(example, files):
    if not shutil.which("b3sum"):
        print("b3sum is not installed: identities not compared")
        return []
    ours = subprocess.run([example, "identity", *files], check=True, stdout=subprocess.PIPE).stdout
    theirs = subprocess.run(["b3sum", *files], check=True, stdout=subprocess.PIPE).stdout
    print(f"identities: {len(files)} compared with b3sum")
    return [] if ours == theirs else ["identities differ from b3sum's"]


def main():
    if not shutil.which("exiftool"):
        sys.exit("exiftool is not installed (Debian package libimage-exiftool-perl)")
    example = build()
    faults = []
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        subprocess.run([example, "write", str(folder / "files")], check=True)
        groups = [("written here", sorted((folder / "files").iterdir()))]
        if len(sys.argv) > 1:
            found = [Path(d) / f for d, _, names in os.walk(sys.argv[1]) for f in names]
            groups.append((sys.argv[1], sorted(f for f in found if f.suffix.lower() in KINDS)))
        for title, files in groups:
            agreed = 0
            # In small lots: files of the same name in different folders must not meet.
            for file_lot in lots(files):
                paths = [str(f) for f in file_lot]
                ours = json.loads(subprocess.run([example, "read", *paths], check=True,
                                                 stdout=subprocess.PIPE).stdout)
                theirs = exiftool(paths)
                for file in file_lot:
                    lines = compare(file.name.lower(), ours[file.name], theirs[file.name])
                    agreed += not lines
                    faults += [f"{file.name}: {line}" for line in lines]
            print(f"{title}: {agreed} of {len(files)} files agree with ExifTool in every field")
        turned = sorted((folder / "files").glob("orientation_*.jpg"))
        faults += compare_previews(example, turned, folder)
        faults += compare_turned_heif(example, folder)
        faults += compare_identities(example, [str(f) for f in groups[0][1]])
    for fault in faults:
        print("  " + fault)
    sys.exit(1 if faults else 0)


def lots(files, size=200):
    """The files in lots of at most `size`, no name twice in one."""
    lot = {}
    for file in files:
        if len(lot) == size or file.name in lot:
            yield list(lot.values())
            lot = {}
        lot[file.name] = file
    if lot:
        yield list(lot.values())


if __name__ == "__main__":
    main()

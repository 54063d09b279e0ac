#!/usr/bin/env python3
"""Compares the correction of camera clocks with ExifTool's Geosync on the same data.

ExifTool (its documentation, "Geotagging: time synchronization") interpolates linearly between
sync points and extrapolates the line through the outermost two. It can't be asked for a
corrected time directly. So each picture is geotagged from a track whose latitude *is* the true
time, one ten-thousandth of a degree a second: the position that ExifTool writes tells the time
that it came to.

Needs ExifTool (Debian package libimage-exiftool-perl). Usage: outside_geosync.py
Exit code 0 only if everything agrees.
"""

import json
import random
import shutil
import subprocess
import sys
import tempfile
from datetime import datetime, timedelta, timezone
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
# A track point every 1000 s; the latitude starts at 0 and stays below 60 degrees.
START = datetime(2026, 3, 2, tzinfo=timezone.utc)
DEGREES_A_SECOND = 1e-4
TRACK_S = 600_000
# ExifTool keeps a latitude as degrees, minutes and seconds to 1e-8 degree or better: 0.1 ms.
# Camera times are whole seconds and sync points too, so only the arithmetic is left.
TOLERANCE_S = 0.005


def stamp(seconds, form="%Y-%m-%dT%H:%M:%SZ"):
    return (START + timedelta(seconds=seconds)).strftime(form)


EXIF = "%Y:%m:%d %H:%M:%S"


def build():
    command = ["cargo", "build", "-q", "-p", "datumtrail-photo", "--example", "geosync",
               "--message-format=json"]
    lines = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    for line in lines.splitlines():
        message = json.loads(line)
        if message.get("executable") and message["target"]["name"] == "geosync":
            return message["executable"]
    sys.exit("cargo built no geosync")


def write_track(path):
    points = "".join(
        f'<trkpt lat="{s * DEGREES_A_SECOND:.6f}" lon="10"><time>{stamp(s)}</time></trkpt>'
        for s in range(0, TRACK_S, 1000))
    path.write_text('<?xml version="1.0"?><gpx version="1.1" '
                    'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
                    f"{points}</trkseg></trk></gpx>")


def exiftool_times(folder, track, points, times):
    """The corrected times, as seconds after START."""
    # The smallest JPEG that ExifTool will write to: start, a scan without data, end.
    files = []
    commands = ["-common_args", "-q", "-overwrite_original"]
    for number, camera in enumerate(times):
        file = folder / f"{number:03}.jpg"
        file.write_bytes(bytes.fromhex("FFD8FFDA0008010100003F0000FFD9"))
        files.append(file)
        commands = [f"-DateTimeOriginal={stamp(camera, EXIF)}", str(file), "-execute", *commands]
    subprocess.run(["exiftool", *commands], check=True)
    sync = [f"-geosync={stamp(true, EXIF)}Z@{stamp(camera, EXIF)}Z" for true, camera in points]
    subprocess.run(["exiftool", "-q", "-overwrite_original", "-api", "GeoMaxIntSecs=2000",
                    *sync, "-geotag", str(track), "-geotime<${DateTimeOriginal}+00:00",
                    *map(str, files)], check=True, stdout=subprocess.PIPE)
    read = subprocess.run(["exiftool", "-q", "-json", "-n", "-GPSLatitude", *map(str, files)],
                          check=True, stdout=subprocess.PIPE, text=True).stdout
    found = {Path(e["SourceFile"]).name: e["GPSLatitude"] for e in json.loads(read)}
    return [found[f.name] / DEGREES_A_SECOND for f in files]


def our_times(example, points, times, u_s):
    command = [example, *(f"{stamp(t)}@{stamp(c)}@{u_s}" for t, c in points), "--",
               *(stamp(t) for t in times)]
    lines = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout.split("\n")
    out = []
    for line in filter(None, lines):
        at, u = line.split()
        when = datetime.fromisoformat(at.replace("Z", "+00:00"))
        out.append(((when - START).total_seconds(), float(u)))
    return out


def main():
    if not shutil.which("exiftool"):
        sys.exit("exiftool is not installed (Debian package libimage-exiftool-perl)")
    example = build()
    rng = random.Random(2026)
    worst = 0.0
    compared = 0
    faults = []
    for case in range(12):
        # Corrections that drift by up to 50 ppm a second from a first one of up to an hour.
        count = 1 + case % 4
        cameras = sorted(rng.sample(range(100_000, 400_000, 10), count))
        rate = rng.uniform(-50e-6, 50e-6)
        first = rng.randint(-3600, 3600)
        points = [(c + first + round(rate * (c - cameras[0])), c) for c in cameras]
        inside = [rng.randint(cameras[0], cameras[-1]) for _ in range(6)]
        # Beyond the points the two are the same for exactly two exact points (or one).
        beyond = [rng.randint(50_000, cameras[0]), rng.randint(cameras[-1], 500_000)]
        times = inside + (beyond if count <= 2 else [])
        with tempfile.TemporaryDirectory() as folder:
            folder = Path(folder)
            track = folder / "track.gpx"
            write_track(track)
            theirs = exiftool_times(folder, track, points, times)
        ours = our_times(example, points, times, 0.0)
        for camera, (mine, _), other in zip(times, ours, theirs, strict=True):
            compared += 1
            worst = max(worst, abs(mine - other))
            if abs(mine - other) > TOLERANCE_S:
                faults.append(f"case {case}, {count} points, camera {camera}: "
                              f"{mine:.4f}, ExifTool {other:.4f}")
    print(f"clock corrections: {compared} times compared with ExifTool's Geosync, "
          f"largest difference {worst * 1000:.2f} ms")
    for fault in faults:
        print("  " + fault)
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()

"""Runs the two sides of tests/benches/photos.sh by turns and prints what they took."""

import os
import shutil
import statistics
import subprocess
import sys
from pathlib import Path
from time import monotonic

program, bench, work, listed, rounds = sys.argv[1:]
work, listed, rounds = Path(work), int(listed), int(rounds)
photos = sorted(map(str, (work / "photos").iterdir()))


def run(*command, **more):
    """Wall time, processor time, peak memory in MB."""
    more.setdefault("stdout", subprocess.DEVNULL)
    began = monotonic()
    child = subprocess.Popen(command, stderr=subprocess.DEVNULL, **more)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{command[:4]} ended with {child.returncode}")
    return monotonic() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def add(parts):
    return sum(p[0] for p in parts), sum(p[1] for p in parts), max(p[2] for p in parts)


def ours():
    shop = work / "shop"
    shutil.rmtree(shop, ignore_errors=True)
    run(program, "--shop", str(shop), "job", "new", "bench", "--zone", "Etc/UTC")
    return run(program, "--shop", str(shop), "photo", "add", str(work / "photos"))


def theirs():
    small, copy = work / "small", work / "copy"
    for folder in (small, copy):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
    return add([
        run("exiftool", "-fast2", "-q", "-json", *photos),
        run("vipsthumbnail", "-s", "512", "-o", f"{small}/%s.jpg", *photos),
        run("b3sum", *photos),
        run("cp", *photos, str(copy)),
    ])


def compare(title, our, their, goal):
    mine, others = [], []
    for _ in range(rounds):
        mine.append(our())
        others.append(their())
    wall = [m[0] / o[0] for m, o in zip(mine, others)]
    cpu = [m[1] / o[1] for m, o in zip(mine, others)]
    middle = lambda runs, n: statistics.median(r[n] for r in runs)
    print(title)
    print(f"  ours    {middle(mine, 0):7.2f} s wall, {middle(mine, 1):7.2f} s processor, "
          f"{max(m[2] for m in mine):5.0f} MB at most, "
          f"{middle(mine, 1) / middle(mine, 0):.2f} cores busy")
    print(f"  theirs  {middle(others, 0):7.2f} s wall, {middle(others, 1):7.2f} s processor")
    print(f"  ours/theirs, each run: wall {' '.join(f'{r:.3f}' for r in wall)}, "
          f"processor {' '.join(f'{r:.3f}' for r in cpu)} (goal {goal})", flush=True)


compare(f"{len(photos)} photos taken in", ours, theirs, "wall below 0.7, memory below 300 MB")

# Headers only: the same pictures under many names, each a file of its own for both sides.
many = work / "many"
many.mkdir()
for number in range(listed):
    os.link(photos[number % len(photos)], many / f"L{number:05}.jpg")
lines = subprocess.run([bench, "list", str(many)], stdout=subprocess.PIPE, check=True).stdout
assert len(lines.splitlines()) == listed, "every file is listed"
compare(f"{listed} files listed", lambda: run(bench, "list", str(many)),
        lambda: run("exiftool", "-fast2", "-q", "-T", "-FileName", "-DateTimeOriginal", "-Make",
                    "-Model", "-SerialNumber", "-ImageSize", str(many)),
        "below 0.05: 20 times faster")

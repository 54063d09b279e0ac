#!/usr/bin/env python3
"""Measures export and verify against zip -0 and sha512sum of the same photos, in one run.

Needs a release build (cargo build --release -p datumtrail), zip, sha512sum, and GNU time for the
memory. The photos are JPEGs of noise with a comment that fills them up to their size.

Usage: tests/outside/speed.py [PHOTOS [MEGABYTES]]        200 photos of 5 MB where nothing is said

DATUMTRAIL_BIN names another program. Prints seconds, ratios and the most memory used; fails nothing.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
OURS = os.environ.get("DATUMTRAIL_BIN", str(TARGET / "release/datumtrail"))


def photo(path, size):
    """A small true JPEG (grey, 8 by 8), filled up with segments that no decoder looks at."""
    body = bytes.fromhex(
        "ffdb004300" + "10" * 64 + "ffc0000b080008000801011100"
        "ffc40014000100000000000000000000000000000000" + "ffc4001410010000000000000000000000000000"
        "0000" + "ffda0008010100003f00" + "7fffd9")
    filling = b""
    while len(filling) < size:
        filling += b"\xff\xee\xff\xff" + os.urandom(65533)
    path.write_bytes(b"\xff\xd8" + filling[:size // 65537 * 65537] + body)


def timed(*command, **more):
    began, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([str(part) for part in command], check=True, stdout=subprocess.DEVNULL, **more)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.monotonic() - began, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def memory(*command):
    said = subprocess.run(["/usr/bin/time", "-f", "%M", *[str(part) for part in command]],
                          stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    return int(said.stderr.strip().splitlines()[-1]) / 1024


def main():
    photos, megabytes = (list(map(int, sys.argv[1:])) + [200, 5][len(sys.argv) - 1:])[:2]
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        (folder / "in").mkdir()
        for n in range(photos):
            photo(folder / "in" / f"P{n:04}.JPG", megabytes << 20)
        shop = [OURS, "--shop", folder / "shop"]
        subprocess.run([*shop, "job", "new", "speed", "--zone", "Etc/UTC"], check=True,
                       stdout=subprocess.DEVNULL)
        subprocess.run([*shop, "photo", "add", folder / "in"], check=True, stdout=subprocess.DEVNULL)
        files = sorted((folder / "in").iterdir())
        # Once without measuring, so that all is in the system's cache.
        timed("sha512sum", *files)
        zipped, _ = timed("zip", "-0qr", folder / "theirs.zip", "in", cwd=folder)
        summed, _ = timed("sha512sum", *files)
        exported, used = timed(*shop, "export", folder / "ours.zip", "--for", "shop")
        verified, used_too = timed(OURS, "verify", folder / "ours.zip")
        print(f"{photos} photos of {megabytes} MB; load {os.getloadavg()[0]:.1f}")
        print(f"zip -0 {zipped:.2f} s, sha512sum {summed:.2f} s")
        print(f"export {exported:.2f} s (processor {used:.2f} s): "
              f"{exported / (zipped + summed):.2f} of both")
        print(f"verify {verified:.2f} s (processor {used_too:.2f} s): {verified / summed:.2f} of sha512sum")
        if Path("/usr/bin/time").exists():
            print(f"memory: export {memory(*shop, 'export', folder / 'again.zip', '--for', 'shop'):.0f} MB, "
                  f"verify {memory(OURS, 'verify', folder / 'ours.zip'):.0f} MB")


if __name__ == "__main__":
    main()

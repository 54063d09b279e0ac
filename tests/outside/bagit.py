#!/usr/bin/env python3
"""Checks the bags that datumtrail-bag writes with tools of other people, and theirs with it.

Needs the package bagit from PyPI (the Library of Congress's) in the Python that runs this,
Info-ZIP's zip and unzip, and 7-Zip (Debian package p7zip-full); bsdtar (libarchive-tools)
and sha512sum (coreutils) where they are there.

Usage: tests/outside/bagit.py [--big]

--big also writes and tests zips with long (zip64) records: 5 GB of disk, some minutes.

Exit code 0 only if all agree.
"""

import json
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
failures = []
checks = 0


def build():
    command = ["cargo", "build", "-q", "-p", "datumtrail-bag", "--example", "bag",
               "--message-format=json"]
    lines = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    for line in lines.splitlines():
        message = json.loads(line)
        if message.get("executable") and message["target"]["name"] == "bag":
            return message["executable"]
    sys.exit("cargo built no example of the name bag")


def run(*command, cwd):
    return subprocess.run([str(part) for part in command], cwd=cwd, text=True,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT)


def expect(what, holds, output=""):
    global checks
    checks += 1
    print(("ok      " if holds else "FAILED  ") + what)
    if not holds:
        failures.append(what)
        print(output)


def validates(bag):
    """What the package bagit says of a folder. In a folder of its own, since this script has
    the package's name and would be taken for it."""
    return run(sys.executable, "-m", "bagit", "--validate", bag, cwd=bag.parent)


def test_zip(path, ours, folder):
    """Every zip tool at hand tests the zip."""
    tools = [("unzip -t", ["unzip", "-tq", path]), ("7z t", ["7z", "t", path]),
             ("zip -T", ["zip", "-T", path])]
    if shutil.which("bsdtar"):
        tools.append(("bsdtar -t", ["bsdtar", "-tf", path]))
    for name, command in tools:
        said = run(*command, cwd=folder)
        # 7-Zip gives warnings, such as bytes behind the end, with exit code 0.
        clean = said.returncode == 0 and "warning" not in said.stdout.lower()
        expect(f"{name} {path.name}", clean, said.stdout)
    with zipfile.ZipFile(path) as archive:
        expect(f"Python's zipfile reads {path.name}", archive.testzip() is None)
    said = run(ours, "verify", path, cwd=folder)
    expect(f"ours finds {path.name} whole", said.returncode == 0, said.stdout)


def main():
    big = sys.argv[1:] == ["--big"]
    if sys.argv[1:] and not big:
        sys.exit(__doc__)
    ours = build()
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        subprocess.run([ours, "samples", folder], check=True)

        for bag in sorted(path for path in folder.iterdir() if path.is_dir()):
            good = bag.name == "good"
            word = "accepts" if good else "rejects"
            said = validates(bag)
            expect(f"bagit {word} {bag.name}", (said.returncode == 0) == good, said.stdout)
            said = run(ours, "verify", bag, cwd=folder)
            expect(f"ours {word} {bag.name}", (said.returncode == 0) == good, said.stdout)
        if shutil.which("sha512sum"):
            for manifest in ["manifest-sha512.txt", "tagmanifest-sha512.txt"]:
                said = run("sha512sum", "--strict", "-c", manifest, cwd=folder / "good")
                expect(f"sha512sum -c {manifest}", said.returncode == 0, said.stdout)

        good = folder / "good.zip"
        test_zip(good, ours, folder)
        for tool, command in [("unzip", ["unzip", "-q", good, "-d"]),
                              ("7z", ["7z", "x", good, "-bd", "-o{}"])]:
            unpacked = folder / f"unpacked by {tool}"
            unpacked.mkdir()
            if tool == "unzip":
                said = run(*command, unpacked, cwd=folder)
            else:
                said = run(*[str(part).format(unpacked) for part in command], cwd=folder)
            expect(f"{tool} unpacks it", said.returncode == 0, said.stdout)
            said = validates(unpacked / "good")
            expect("  bagit accepts that", said.returncode == 0, said.stdout)
            said = run(ours, "verify", unpacked / "good", cwd=folder)
            expect("  ours accepts that", said.returncode == 0, said.stdout)

        # A zip with a byte altered in its directory: the others' tools mostly do not mind.
        damaged = bytearray(good.read_bytes())
        at = damaged.rindex(b"PK\x01\x02") + 12
        damaged[at] ^= 1
        (folder / "time.zip").write_bytes(damaged)
        said = run(ours, "verify", folder / "time.zip", cwd=folder)
        named = said.returncode != 0 and f"byte {at}: " in said.stdout
        expect("ours names the byte altered in the directory", named, said.stdout)

        # The other way round.
        theirs = folder / "theirs"
        (theirs / "sub").mkdir(parents=True)
        (theirs / "sub" / "Größe.txt").write_text("hello\n")
        (theirs / "plain.bin").write_bytes(bytes(range(256)) * 1000)
        said = run(sys.executable, "-m", "bagit", "--sha512", "--sha256",
                   "--external-identifier", "x" * 100, theirs, cwd=folder)
        expect("bagit makes a bag", said.returncode == 0, said.stdout)
        said = run("zip", "-qr", "theirs.zip", "theirs", cwd=folder)
        expect("zip packs it", said.returncode == 0, said.stdout)
        for bag in ["theirs", "theirs.zip"]:
            said = run(ours, "verify", bag, cwd=folder)
            expect(f"ours accepts {bag}", said.returncode == 0, said.stdout)

        if big:
            subprocess.run([ours, "big", folder], check=True)
            test_zip(folder / "big.zip", ours, folder)
            test_zip(folder / "many.zip", ours, folder)

    print(f"{checks - len(failures)} of {checks} as expected")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()

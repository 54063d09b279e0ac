#!/usr/bin/env python3
"""Checks report.pdf with other people's programs: poppler, qpdf, veraPDF, pikepdf.

Usage: tests/outside/report.py [ARCHIVE]...   each a folder with data/; without one it plays the demo.

Needs pdftotext, pdffonts and pdfinfo (Debian package poppler-utils). Uses qpdf, pikepdf (PyPI) and
Maven with Java where they are there: veraPDF's library comes from Maven Central. What is missing is
said, and skipped.

Exit code 0 only if all agree, 77 if nothing could be checked.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
failures = []
checks = 0


def expect(what, holds, output=""):
    global checks
    checks += 1
    print(("ok      " if holds else "FAILED  ") + what)
    if not holds:
        failures.append(what)
        print(str(output)[:2000])


def run(*command, cwd=None):
    return subprocess.run([str(part) for part in command], cwd=cwd, text=True,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def squeezed(text):
    """Without spaces, since a long name is parted by its column, and without hyphens, since
    pdftotext joins what stands before and after one at a line's end."""
    return "".join(text.split()).replace("-", "")


def demo(folder):
    """The demo's archive on A4, and the same job once more on US Letter."""
    target = os.environ.get("DATUMTRAIL_BIN")
    command = [target] if target else ["cargo", "run", "-q", "-p", "datumtrail", "--"]
    subprocess.run([*command, "demo", "--out", str(folder / "demo")], cwd=ROOT, check=True,
                   stdout=subprocess.DEVNULL)
    letter = folder / "letter"
    subprocess.run([*command, "--shop", str(folder / "demo" / "shop"), "export", str(letter),
                    "--paper", "letter"], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    return [folder / "demo" / "archive", letter]


def text_and_fonts(archive, pdf, story):
    pages = run("pdftotext", "-layout", pdf, "-").stdout.split("\f")[:-1]
    expect(f"  {len(pages)} pages", len(pages) >= 3)
    job = story["head"]["job"]
    without = [n + 1 for n, page in enumerate(pages) if job not in page]
    expect("  the job's reference is on each page", not without, without)
    numbers = [n + 1 for n, page in enumerate(pages)
               if f"page {n + 1} of {len(pages)}" not in page]
    expect("  each page has its number", not numbers, numbers)

    whole = run("pdftotext", pdf, "-").stdout
    dense = squeezed(whole)
    expect("  the answer is there", squeezed(story["answer"]["sentence"]) in dense)
    for caution in story["cautions"]:
        expect(f"  caution: {caution[:40]}", squeezed(caution) in dense)
    missing = [p["name"] for p in story["photos"] if squeezed(p["name"]) not in dense]
    expect(f"  the names of {len(story['photos'])} photos", not missing, missing)
    missing = [h["title"] for h in story["holds"] if squeezed(h["title"]) not in dense]
    expect(f"  {len(story['holds'])} hold points", not missing, missing)
    missing = [n["text"] for n in story["notes"] if squeezed(n["text"]) not in dense]
    expect(f"  {len(story['notes'])} notes", not missing, missing)
    releases = [r for h in story["holds"] for r in h["releases"]]
    missing = [r["name"] for r in releases if squeezed(r["reason"]) not in dense]
    expect(f"  {len(releases)} releases with their reasons", not missing, missing)
    deviations(story, whole)
    expect("  no letter without a glyph", "�" not in whole and "[U+" not in whole)

    fonts = run("pdffonts", pdf).stdout.splitlines()[2:]
    # name type encoding emb sub uni object: emb, sub and uni from the right.
    embedded = [line.split()[-5:-2] for line in fonts]
    expect(f"  {len(fonts)} fonts, embedded as subsets with their letters",
           fonts and all(one == ["yes", "yes", "yes"] for one in embedded), fonts)
    info = run("pdfinfo", pdf).stdout
    expect("  tagged", "Tagged:          yes" in info, info)
    expect("  no scripts, not encrypted",
           "JavaScript:      no" in info and "Encrypted:       no" in info, info)


def deviations(story, text):
    """Every deviation of the newest survey, from job.json, and its verdict as a word."""
    newest = story["answer"]["survey"]
    surveys = [s for s in story["surveys"] if s["id"] == newest and "points" in s["check"]]
    if not surveys:
        return
    words = {"Inside": "inside", "Outside": "outside", "TooCloseToCall": "too close to call",
             "NoLimitGiven": "no limit given", "Unchecked": "unchecked",
             "NotMeasured": "not measured"}
    verdicts = {}
    lines = set(text.split())
    missing = []
    for point in surveys[0]["check"]["points"]:
        if point["point"] not in lines:
            missing.append(point["point"])
        for axis in ("length", "width", "height"):
            seen = point[axis]
            word = words.get(seen["verdict"], seen["verdict"].replace("_", " "))
            verdicts[word] = verdicts.get(word, 0) + 1
            if seen["deviation_mm"] is not None:
                size = f"{abs(seen['deviation_mm']):.1f}"
                if size not in lines:
                    missing.append(f"{point['point']} {axis} {size}")
    expect(f"  every point's deviations ({len(surveys[0]['check']['points'])} points)",
           not missing, missing)
    for word, times in verdicts.items():
        expect(f"  the verdict “{word}”, at least {times} times", text.count(word) >= times,
               text.count(word))


def structure(pdf):
    import pikepdf
    with pikepdf.open(pdf) as opened:
        root = opened.Root
        expect("  pikepdf: a title, and shown as such",
               "/Title" in opened.docinfo and bool(root.ViewerPreferences.DisplayDocTitle))
        expect("  pikepdf: language", str(root.get("/Lang", "")) == "en")
        expect("  pikepdf: marked, with a tree of tags",
               bool(root.MarkInfo.Marked) and "/StructTreeRoot" in root)
        with opened.open_metadata() as meta:
            expect("  pikepdf: PDF/A-2a and PDF/UA-1 declared",
                   meta.get("pdfaid:part") == "2" and meta.get("pdfaid:conformance") == "A"
                   and meta.get("pdfuaid:part") == "1", dict(meta))
        kinds = {}
        figures = []

        def walk(node):
            if isinstance(node, pikepdf.Array):
                for one in node:
                    walk(one)
            elif isinstance(node, pikepdf.Dictionary) and "/S" in node:
                kind = str(node.S)
                kinds[kind] = kinds.get(kind, 0) + 1
                if kind == "/Figure":
                    figures.append(str(node.get("/Alt", "")))
                if "/K" in node:
                    walk(node.K)

        walk(root.StructTreeRoot.K)
        for kind in ["/H1", "/H2", "/P", "/Table", "/THead", "/TH", "/TD", "/Figure", "/TOC"]:
            expect(f"  pikepdf: {kinds.get(kind, 0)} {kind}", kinds.get(kind, 0) > 0, kinds)
        expect("  pikepdf: every figure says what it shows", figures and all(figures))
        images = [image for page in opened.pages
                  for image in page.Resources.get("/XObject", {}).values()
                  if image.get("/Subtype") == "/Image"]
        smooth = [one for one in images if one.get("/Interpolate", False)]
        expect("  pikepdf: no picture is smoothed", not smooth, smooth)
        large = [one for one in images if max(int(one.Width), int(one.Height)) > 1600]
        print(f"        {len(images)} pictures")
        expect("  pikepdf: no picture has more than 1600 pixels a side", not large, large)


def vera(pdfs, folder):
    if not (shutil.which("mvn") and shutil.which("java")):
        print("SKIPPED: veraPDF needs Maven and Java")
        return
    here = ROOT / "tests" / "outside" / "pdfa"
    path = folder / "classpath"
    made = run("mvn", "-q", "-B", "-f", here / "pom.xml", "dependency:build-classpath",
               f"-Dmdep.outputFile={path}")
    if made.returncode != 0 or not path.exists():
        print("SKIPPED: veraPDF's library could not be had\n" + made.stdout[-600:])
        return
    for flavour in ["2a", "ua1"]:
        said = run("java", "-cp", path.read_text().strip(), here / "Check.java", flavour, *pdfs)
        expect(f"veraPDF: {flavour}", said.returncode == 0, said.stdout + said.stderr)
        print(said.stdout, end="")


def main():
    if not shutil.which("pdftotext"):
        print("SKIPPED: poppler-utils is not there")
        sys.exit(77)
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        archives = [Path(a) for a in sys.argv[1:]] or demo(folder)
        pdfs = []
        for archive in archives:
            pdf = archive / "data" / "report.pdf"
            story = json.loads((archive / "data" / "job.json").read_text())
            print(pdf)
            pdfs.append(pdf)
            text_and_fonts(archive, pdf, story)
            if shutil.which("qpdf"):
                said = run("qpdf", "--check", pdf)
                expect("  qpdf finds no fault", said.returncode == 0, said.stdout + said.stderr)
            try:
                structure(pdf)
            except ImportError:
                print("SKIPPED: pikepdf is not there")
        vera(pdfs, folder)
    print(f"{checks - len(failures)} of {checks} as expected")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()

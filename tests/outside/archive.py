#!/usr/bin/env python3
"""Checks whole archives with the programs of other people.

Needs, in the Python that runs this, bagit, jsonschema and roc-validator from PyPI; ssh-keygen
(openssh-client) and sha512sum (coreutils); unzip, zip and 7z; where they are there, node with the
packages of tests/outside/packages.json in target/outside/npm, and Chromium.

Usage: tests/outside/archive.py [FOLDER]

FOLDER keeps what is made; without it everything vanishes again. DATUMTRAIL_BIN names a program that is
built already.
Exit code 0 only if all agree.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NPM = ROOT / "target/outside/npm"
READERS = ["record", "shop", "insurer", "owner"]
failures = []
skipped = []
checks = 0


def run(*command, cwd=None, **more):
    return subprocess.run([str(part) for part in command], cwd=cwd, text=True,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, **more)


def expect(what, holds, output=""):
    global checks
    checks += 1
    print(("ok      " if holds else "FAILED  ") + what, flush=True)
    if not holds:
        failures.append(what)
        print(output[-4000:])


def skip(what):
    skipped.append(what)
    print(f"SKIPPED {what}")


def build():
    if os.environ.get("DATUMTRAIL_BIN"):
        return os.environ["DATUMTRAIL_BIN"]
    command = ["cargo", "build", "-q", "-p", "datumtrail", "--message-format=json"]
    lines = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    for line in lines.splitlines():
        message = json.loads(line)
        if message.get("executable") and message["target"]["name"] == "datumtrail":
            return message["executable"]
    sys.exit("cargo built no datumtrail")


def make(ours, folder):
    """The demo's job, with a note for the shop alone, in every copy, as folder and as zip."""
    said = run(ours, "demo", "--out", folder / "demo", cwd=folder)
    expect("the demo plays", said.returncode == 0, said.stdout)
    shop = ["--shop", folder / "demo/shop"]
    run(ours, *shop, "note", "add", "For the shop alone.", "--stage", "fit-survey", "--internal")
    photos = json.loads(run(ours, *shop, "--json", "photo", "list").stdout)["photos"]
    run(ours, *shop, "photo", "cover", photos[0]["id"], "10,10,60,40")
    for reader in READERS:
        for name in [reader, f"{reader}.zip"]:
            copy = [] if reader == "record" else ["--for", reader]
            said = run(ours, *shop, "export", folder / name, *copy)
            expect(f"export {name}", said.returncode == 0, said.stdout)
            said = run(ours, "verify", folder / name)
            expect(f"ours finds {name} whole", said.returncode == 0, said.stdout)


def bagit_validates(bag):
    # In a folder of its own, since there is a script here with the package's name.
    return run(sys.executable, "-m", "bagit", "--validate", bag, cwd=bag.parent)


def bags(ours, folder):
    for reader in READERS:
        said = bagit_validates(folder / reader)
        expect(f"bagit accepts {reader}", said.returncode == 0, said.stdout)
    whole = folder / "record"
    damages = {
        "a seal altered": lambda bag: flip(next(bag.glob("data/seals/*.json"))),
        "a seal's signature taken away": lambda bag: next(bag.glob("data/seals/*.sig")).unlink(),
        "the signature of the whole altered": lambda bag: flip(bag / "signature/archive.sha512.sig"),
        "the signed list taken away": lambda bag: (bag / "signature/archive.sha512").unlink(),
        "the page of commands altered": lambda bag: flip(bag / "HOW-TO-CHECK.txt"),
        "a photo altered": lambda bag: flip(next(bag.glob("data/photos/*/*"))),
        "a file slipped in": lambda bag: (bag / "data/better.txt").write_text("better"),
    }
    for what, damage in damages.items():
        bag = folder / "damaged"
        shutil.copytree(whole, bag)
        damage(bag)
        said = bagit_validates(bag)
        expect(f"bagit rejects {what}", said.returncode != 0, said.stdout)
        said = run(ours, "verify", bag)
        expect(f"ours rejects {what}", said.returncode == 3, said.stdout)
        shutil.rmtree(bag)


def flip(path):
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


def zips(folder):
    for reader in READERS:
        path = folder / f"{reader}.zip"
        for name, command in [("unzip -t", ["unzip", "-tq", path]), ("7z t", ["7z", "t", path]),
                              ("zip -T", ["zip", "-T", path])]:
            said = run(*command)
            expect(f"{name} {path.name}", said.returncode == 0, said.stdout)
        with zipfile.ZipFile(path) as archive:
            expect(f"Python's zipfile reads {path.name}", archive.testzip() is None)


def signatures(folder):
    """The commands of the page, as they stand there."""
    for reader in READERS:
        bag = folder / reader
        page = (bag / "HOW-TO-CHECK.txt").read_text()
        commands = re.findall(r"^    (ssh-keygen .*|sha512sum .*)$", page, re.M)
        seals = len(list((bag / "data/seals").glob("*.json")))
        expect(f"{reader} has a command for each seal and three for the whole",
               seals > 0 and len(commands) == seals + 3, page)
        for command in commands:
            said = run("sh", "-c", command, cwd=bag)
            good = said.returncode == 0 and ("Good" in said.stdout or "OK" in said.stdout)
            expect(f"{reader}: {command[:60]}...", good, said.stdout)
        # What must not hold.
        seal = sorted((bag / "data/seals").glob("*.json"))[0]
        content = seal.read_bytes()
        command = next(c for c in commands if seal.name in c).split(" < ")[0]
        said = run("sh", "-c", command, cwd=bag, input=content.decode()[:-1])
        expect(f"{reader}: ssh-keygen rejects an altered seal", said.returncode != 0, said.stdout)


def crates(folder):
    script = ROOT / "tests/outside/crate.py"
    try:
        import rocrate
        import rocrate_validator
    except ImportError:
        skip("the RO-Crate: there is no roc-validator, or no rocrate")
        return
    for reader in READERS:
        said = run(sys.executable, script, folder / reader / "data")
        expect(f"rocrate-validator accepts {reader}", said.returncode == 0, said.stdout)
    crate = folder / "crate"
    shutil.copytree(folder / "owner/data", crate)
    path = crate / "ro-crate-metadata.json"
    path.write_text(path.read_text().replace('"datePublished"', '"datePondered"'))
    said = run(sys.executable, script, crate)
    expect("and rejects one without its date", "datePublished" in said.stdout, said.stdout)
    shutil.rmtree(crate)


def schemas(folder):
    try:
        import jsonschema
    except ImportError:
        skip("the JSON Schema: there is no jsonschema")
        return
    for reader in READERS:
        data = folder / reader / "data"
        schema = json.loads((data / "job.schema.json").read_text())
        story = json.loads((data / "job.json").read_text())
        jsonschema.Draft202012Validator.check_schema(schema)
        errors = list(jsonschema.Draft202012Validator(schema).iter_errors(story))
        said = "\n".join(f"{e.json_path}: {e.message[:300]}" for e in errors[:20])
        expect(f"job.json of {reader} follows its schema", not errors, said)
        story["answer"]["outcome"] = "splendid"
        valid = jsonschema.Draft202012Validator(schema).is_valid(story)
        expect(f"and an outcome that there is not is refused ({reader})", not valid)


def node(script, *arguments):
    return run("node", ROOT / "tests/outside" / script, *arguments,
               env={**os.environ, "NPM_FOLDER": str(NPM)})


def documents(folder):
    for reader in READERS:
        said = node("document.mjs", folder / reader / "data")
        expect(f"automerge in JavaScript reads {reader}'s document as job.json has it",
               said.returncode == 0, said.stdout)


def pages(folder):
    html = NPM / "node_modules/.bin/html-validate"
    for reader in READERS:
        page = folder / reader / "data/timeline.html"
        said = run(html, "--config", ROOT / "tests/outside/html-validate.json", page)
        expect(f"html-validate accepts {reader}'s page", said.returncode == 0, said.stdout)
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if not chromium:
        skip("the page in a browser: there is no Chromium")
        return
    for reader in ["record", "owner"]:
        page = folder / reader / "data/timeline.html"
        said = node("page.mjs", chromium, page, folder / f"{reader}-page")
        print(said.stdout, end="")
        expect(f"Chromium and axe-core find no fault in {reader}'s page", said.returncode == 0,
               said.stdout)


def main():
    if len(sys.argv) > 2:
        sys.exit(__doc__)
    ours = build()
    with tempfile.TemporaryDirectory() as vanishing:
        folder = Path(sys.argv[1] if len(sys.argv) == 2 else vanishing).resolve()
        folder.mkdir(parents=True, exist_ok=True)
        make(ours, folder)
        bags(ours, folder)
        zips(folder)
        signatures(folder)
        crates(folder)
        schemas(folder)
        if shutil.which("node") and NPM.exists():
            documents(folder)
            pages(folder)
        else:
            skip("the document in JavaScript, and the page: there is no node, or no packages")
    print(f"{checks - len(failures)} of {checks} as expected, {len(skipped)} skipped")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()

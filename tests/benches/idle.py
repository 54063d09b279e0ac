#!/usr/bin/env python3
"""What five connected devices cost while nothing happens: processor, memory, bytes.

Usage: tests/benches/idle.py [MINUTES]        10 minutes where nothing is said

Needs a release build (cargo build --release -p datumtrail) and root: it runs in a network
namespace of its own, so that what it counts is theirs alone. DATUMTRAIL_BIN names another program.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
OURS = os.environ.get("DATUMTRAIL_BIN", str(TARGET / "release/datumtrail"))
DEVICES = 5


def main():
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10
    if not os.environ.get("DATUMTRAIL_APART"):
        os.environ["DATUMTRAIL_APART"] = "1"
        os.execvp("unshare", ["unshare", "--net", sys.executable, *sys.argv])
    subprocess.run(["ip", "link", "set", "lo", "up"], check=True)
    with tempfile.TemporaryDirectory() as folder:
        measure(folder, minutes * 60)


def measure(folder, seconds):
    environment = dict(os.environ, DATUMTRAIL_LOOPBACK="1")

    def command(device, *words):
        return [OURS, "--shop", f"{folder}/{device}", *words]

    def run(device, *words):
        done = subprocess.run(command(device, *words), env=environment, capture_output=True, text=True)
        if done.returncode:
            sys.exit(f"{words}: {done.stdout}{done.stderr}")
        return done.stdout

    run(0, "job", "new", "Order", "--zone", "Etc/UTC")
    for number in range(50):
        run(0, "note", "add", f"note {number}")
    for device in range(1, DEVICES):
        inviting = subprocess.Popen(command(0, "crew", "invite", "--name", f"device {device}"),
                                    env=environment, stdout=subprocess.PIPE, text=True)
        ticket = next(line.strip() for line in inviting.stdout if line.startswith("DTCREW"))
        run(device, "crew", "join", ticket)
        inviting.wait()
    devices = [subprocess.Popen(command(device, "sync"), env=environment, stdout=subprocess.DEVNULL)
               for device in range(DEVICES)]
    try:
        time.sleep(30)
        jobs = [run(device, "job", "list") for device in range(DEVICES)]
        assert all("Order" in job for job in jobs), jobs
        before, sent, began = [processor(d) for d in devices], loopback(), time.monotonic()
        time.sleep(seconds)
        took = time.monotonic() - began
        used = [(now - then) / took * 100 for now, then in zip(map(processor, devices), before)]
        print(f"{DEVICES} devices, {took / 60:.1f} minutes without an edit")
        print("  processor, % of a core each: " + ", ".join(f"{share:.2f}" for share in used))
        print("  memory, MB each: " + ", ".join(f"{resident(d):.0f}" for d in devices))
        lines = DEVICES * (DEVICES - 1) / 2
        sent = loopback() - sent
        print(f"  bytes on the wire: {sent} by all, {sent / lines / took:.0f} a second and pair")
    finally:
        for device in devices:
            device.kill()


def processor(process):
    fields = Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident(process):
    lines = Path(f"/proc/{process.pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def loopback():
    lines = Path("/proc/net/dev").read_text().splitlines()
    return next(int(line.split(":")[1].split()[8]) for line in lines if line.strip().startswith("lo:"))


if __name__ == "__main__":
    main()

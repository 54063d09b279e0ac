#!/usr/bin/env bash
# How fast photos are taken in, against four other programs that do parts of it one after another:
# `exiftool -fast2`, `vipsthumbnail -s 512`, `b3sum` and `cp`. And how fast headers alone are
# read, against `exiftool -fast2`. Both sides run by turns on the same files, since a machine is
# seldom quiet; wall time and processor time (user and system, all processes) are both printed.
#
# Usage: tests/benches/photos.sh [PHOTOS [LISTED [ROUNDS]]]     defaults: 200, 10000, 3
# DATUMTRAIL_BIN names a program that is built already; else the release profile is built.
# Installs its tools where this is root on a Debian-like system. DEVELOPERS.md has the figures.
set -euo pipefail
cd "$(dirname "$0")/../.."
photos=${1:-200} listed=${2:-10000} rounds=${3:-3}

. tests/benches/common.sh
need exiftool:libimage-exiftool-perl vipsthumbnail:libvips-tools b3sum:b3sum python3:python3

cargo build -q --release -p datumtrail-photo --example bench_photos
bench=$target/release/examples/bench_photos
need_program
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$bench" write "$work/photos" "$photos"
echo "$photos photos, $(du -m "$work/photos" | cut -f1) MB; $(load)"
python3 tests/benches/photos.py "$DATUMTRAIL_BIN" "$bench" "$work" "$listed" "$rounds"

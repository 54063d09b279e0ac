#!/usr/bin/env bash
# How soon the timeline of a job with many photos can be used in a browser.
#
# Usage: tests/benches/page.sh [PHOTOS [ROUNDS]]     300 photos, 5 rounds where nothing is said
# DATUMTRAIL_BIN names a program that is built already; else the release profile is built. Needs
# Chromium and what tests/outside/run installs from npm. DEVELOPERS.md has the figures.
set -euo pipefail
cd "$(dirname "$0")/../.."
. tests/benches/common.sh
photos=${1:-300} rounds=${2:-5}
export NPM_FOLDER=${NPM_FOLDER:-target/outside/npm}
if ! command -v chromium >/dev/null || [ ! -d "$NPM_FOLDER/node_modules" ]; then
    echo "SKIPPED: needs chromium, and $NPM_FOLDER as tests/outside/run makes it"
    exit 77
fi
cargo build -q --release -p datumtrail-photo --example bench_photos
need_program
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$target/release/examples/bench_photos" write "$work/photos" "$photos"
shop=("$DATUMTRAIL_BIN" --shop "$work/shop")
"${shop[@]}" job new page --zone Etc/UTC >/dev/null
"${shop[@]}" photo add "$work/photos" >/dev/null
"${shop[@]}" export "$work/archive" --for shop >/dev/null
echo "$photos photos; $(load)"
node tests/benches/page.mjs "$(command -v chromium)" "$work/archive/data/timeline.html" "$rounds"

#!/usr/bin/env bash
# Signatures against OpenSSH: ssh-keygen checks ours, and we check one that ssh-keygen made.
# Run from anywhere; needs ssh-keygen (openssh-client) and cargo. Exit 77 means: skipped.
set -euo pipefail
cd "$(dirname "$0")/../../.."
repo=$PWD

if ! command -v ssh-keygen >/dev/null; then
    echo "SKIPPED: signatures against OpenSSH: there is no ssh-keygen (openssh-client)"
    exit 77
fi
here=$(mktemp -d)
trap 'rm -rf "$here"' EXIT
seal() { cargo run -q -p datumtrail-seal --example seal -- "$@"; }

seal make "$here"
cd "$here"
principal=$(cut -d' ' -f1 allowed_signers)
ssh-keygen -Y verify -f allowed_signers -I "$principal" -n datumtrail -s stage.json.sig <stage.json
ssh-keygen -Y check-novalidate -n datumtrail -s stage.json.sig <stage.json
test "$(ssh-keygen -Y find-principals -f allowed_signers -s stage.json.sig)" = "$principal"

# The commands of the page, as they stand there.
grep '^    ssh-keygen' HOW-TO-VERIFY.txt >commands
test -s commands
bash -e commands

# What must not hold.
refused() { if "$@" >/dev/null 2>&1; then echo "taken for good: $*"; exit 1; fi; }
printf ' ' | cat stage.json - >changed.json
refused ssh-keygen -Y verify -f allowed_signers -I "$principal" -n datumtrail -s stage.json.sig <changed.json
refused ssh-keygen -Y verify -f allowed_signers -I "$principal" -n git -s stage.json.sig <stage.json
refused ssh-keygen -Y verify -f allowed_signers -I somebody -n datumtrail -s stage.json.sig <stage.json

# The other way round.
ssh-keygen -q -t ed25519 -N '' -C 'a bench' -f key
ssh-keygen -q -Y sign -f key -n datumtrail <stage.json >theirs.sig
ssh-keygen -q -Y sign -f key -n file <stage.json >other-namespace.sig
echo "a-bench namespaces=\"datumtrail\" $(cat key.pub)" >theirs.allowed
cd "$repo"
test "$(seal check "$here/stage.json" "$here/theirs.sig" "$here/theirs.allowed")" = "signed by a-bench"
refused seal check "$here/changed.json" "$here/theirs.sig" "$here/theirs.allowed"
refused seal check "$here/stage.json" "$here/theirs.sig" "$here/allowed_signers"
refused seal check "$here/stage.json" "$here/other-namespace.sig" "$here/theirs.allowed"
echo "ssh-keygen and we agree"

#!/usr/bin/env bash
# How fast photos go from one device to another, against `rsync -a -e ssh` of the same files over
# loopback in the same run: before and after, since a machine is seldom quiet. The ssh server is
# one of its own, with keys of its own, and ends with this script.
#
# Usage: tests/benches/lan.sh       200 photos of 5 MB. DEVELOPERS.md has the figures.
set -euo pipefail
cd "$(dirname "$0")/../.."

. tests/benches/common.sh
need rsync:rsync ssh:openssh-client sshd:openssh-server

cargo build -q --release -p datumtrail-crew --example photos
example=$target/release/examples/photos
work=$(mktemp -d)
trap '[ -e "$work/pid" ] && kill "$(cat "$work/pid")"; rm -rf "$work"' EXIT
ssh-keygen -q -t ed25519 -N '' -f "$work/host"
ssh-keygen -q -t ed25519 -N '' -f "$work/key"
cp "$work/key.pub" "$work/authorized"
port=20$((RANDOM % 900 + 100))
mkdir -p /run/sshd 2>/dev/null || true
"$(PATH=$PATH:/usr/sbin command -v sshd)" -f /dev/null -p "$port" -h "$work/host" \
    -o ListenAddress=127.0.0.1 -o "AuthorizedKeysFile=$work/authorized" -o StrictModes=no \
    -o UsePAM=no -o "PidFile=$work/pid" -o PermitRootLogin=yes
shell="ssh -p $port -i $work/key -o StrictHostKeyChecking=no -o UserKnownHostsFile=/dev/null -o LogLevel=ERROR"
load
# Ours flushes what it received; rsync does so only where it is told to.
for flushed in "" --fsync; do
    echo "rsync -a $flushed:"
    "$example" "$work/photos" rsync -a $flushed -e "$shell" '127.0.0.1:{from}/' '{to}/'
    rm -rf "$work/photos"
done

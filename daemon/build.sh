#!/usr/bin/env bash
# Builds the daemon and the terminal client (or the targets named) in build/, with progress. Safe to run again.
set -euo pipefail
cd "$(dirname "$0")/.."
dir=${UNDERSONG_BUILD:-build}
[ -f "$dir/build.ninja" ] || cmake -S . -B "$dir" -G Ninja -DCMAKE_BUILD_TYPE=Release ${UNDERSONG_CMAKE:-} >/dev/null
echo "build: compiling (a few minutes the first time)"
NINJA_STATUS="build: %f of %t, %es  " ninja -C "$dir" "$@"

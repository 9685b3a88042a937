#!/usr/bin/env bash
# Builds the daemon and the terminal client (or the targets named), with progress. Safe to run again.
#
# The build folder is build/, or UNDERSONG_BUILD. Where this folder can't be written to, it lies in the user's cache.
#
# usage: daemon/build.sh [TARGET...]      without a target: everything, tests too
#        daemon/build.sh --where          only says which folder it builds in
set -euo pipefail
cd "$(dirname "$0")/.."
dir=${UNDERSONG_BUILD:-}
why=
if [ -z "$dir" ]; then
  dir=build
  if [ ! -w . ] && [ ! -d build ]; then why="this folder can't be written to"; fi
  if [ -d build ] && [ ! -w build ]; then why="build/ can't be written to by $(id -un)"; fi
  if [ -n "$why" ]; then
    # One for each folder of sources, by its path.
    dir=${XDG_CACHE_HOME:-$HOME/.cache}/undersong/build-$(pwd -P | cksum | cut -d' ' -f1)
  fi
fi
if [ "${1:-}" = --where ]; then
  echo "$dir"
  exit 0
fi
[ -z "$why" ] || echo "build: $why, so everything is built in $dir"
mkdir -p "$dir" || { echo "build: no folder can be made at $dir; name another one in UNDERSONG_BUILD" >&2; exit 1; }
# CMake writes down where it was. A folder that was moved or copied is built anew.
was=$(sed -n 's/^CMAKE_HOME_DIRECTORY:INTERNAL=//p' "$dir/CMakeCache.txt" 2>/dev/null || true)
if [ -n "$was" ] && [ "$was" != "$(pwd -P)" ] && [ "$was" != "$PWD" ]; then
  echo "build: this folder was $was when it was built; it is built anew"
  rm -rf "$dir"/{CMakeCache.txt,CMakeFiles,build.ninja,.ninja_deps,.ninja_log}
fi
# The tests are left out where GoogleTest is missing; it may have come since.
if [ -f "$dir/CMakeCache.txt" ] && grep -q '^GTest_DIR:PATH=GTest_DIR-NOTFOUND' "$dir/CMakeCache.txt" && [ -d /usr/include/gtest ]; then
  rm -f "$dir/build.ninja"
fi
# Other options than the last time: they are read anew.
if [ -n "${UNDERSONG_CMAKE:-}" ] && [ "$UNDERSONG_CMAKE" != "$(cat "$dir/options" 2>/dev/null)" ]; then
  rm -f "$dir/build.ninja"
  echo "$UNDERSONG_CMAKE" >"$dir/options"
fi
if [ ! -f "$dir/build.ninja" ]; then
  # shellcheck disable=SC2086  # several options
  cmake -S . -B "$dir" -G Ninja -DCMAKE_BUILD_TYPE=Release ${UNDERSONG_CMAKE:-} >"$dir/configured" 2>&1 || {
    tail -n 20 "$dir/configured" >&2
    echo "build: it can't be configured; daemon/setup.sh installs what is needed" >&2
    exit 1
  }
fi
# The largest units take 1.7 GB of memory each. One for each processor: more at once disturb each other and take longer.
jobs=$(nproc)
room=$(awk '$1 == "MemAvailable:" {print int($2 / 1700000)}' /proc/meminfo)
began=$SECONDS
if [ "${room:-$jobs}" -lt "$jobs" ]; then
  jobs=$((room > 1 ? room : 1))
  echo "build: compiling $jobs at a time, because memory has no room for more; the first time it takes some minutes"
else
  echo "build: compiling on $jobs processors; the first time it takes some minutes"
fi
NINJA_STATUS="build: %p, %f of %t, %es  " ninja -C "$dir" -j "$jobs" "$@" || {
  echo "build: FAILED. If memory ran out, this needs less: ninja -C $dir -j1 $*" >&2
  exit 1
}
echo "build: done in $((SECONDS - began)) s"

#!/usr/bin/env bash
# Installs the Debian 12 packages needed for building (with "tests", also for testing). Does nothing if all are installed.
set -euo pipefail
want=${1:-build}
packages=(g++ cmake ninja-build pkg-config librtmidi-dev libjack-jackd2-dev libasound2-dev libboost1.81-dev libboost-json1.81-dev
  libspdlog-dev libfmt-dev libtomlplusplus-dev libsqlitecpp-dev libsqlite3-dev libpugixml-dev libcli11-dev libgtest-dev
  libbenchmark-dev libqrencode-dev libssl-dev python3)
# The companion page is built with node and npm.
command -v node >/dev/null 2>&1 || packages+=(nodejs)
command -v npm >/dev/null 2>&1 || packages+=(npm)
if [ "$want" = tests ]; then
  packages+=(jackd2 python3-numpy clang-14 clang-format-14 clang-tidy-14 libclang-rt-14-dev shellcheck curl fonts-dejavu-core
    libxml2-utils)
  command -v "${CHROMIUM:-/usr/bin/chromium}" >/dev/null 2>&1 || packages+=(chromium)
fi
missing=()
for package in "${packages[@]}"; do
  dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed || missing+=("$package")
done
if [ ${#missing[@]} -eq 0 ]; then
  echo "setup: everything is installed"
  exit 0
fi
echo "setup: installing ${#missing[@]} Debian packages: ${missing[*]}"
as_root=()
if [ "$(id -u)" -ne 0 ]; then
  command -v sudo >/dev/null || { echo "setup: these packages need root, and there is no sudo: apt-get install ${missing[*]}" >&2; exit 1; }
  as_root=(sudo)
fi
export DEBIAN_FRONTEND=noninteractive
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
echo "setup: done"

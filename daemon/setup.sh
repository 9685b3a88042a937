#!/usr/bin/env bash
# Installs the Debian 12 packages that are missing. Says before how many and how large they are, and asks if it can.
# Does nothing if all are installed, and then needs no network.
#
# usage: daemon/setup.sh [build|tests] [--yes]     build: what the programs need (the default); tests: also what tests/run needs
#                                                  --yes: don't ask
# Exit: 0 when everything is installed, 1 when it is not.
set -euo pipefail
want=build
ask=yes
for word in "$@"; do
  case "$word" in
    build | tests) want=$word ;;
    --yes) ask= ;;
    *) sed -n '/^# usage:/,/^# *--yes/s/^# *//p' "$0" >&2; exit 2 ;;
  esac
done
fail() { printf 'setup: %s\n' "$@" >&2; exit 1; }

packages=(g++ cmake ninja-build pkg-config librtmidi-dev libjack-jackd2-dev libasound2-dev libboost1.81-dev libboost-json1.81-dev
  libspdlog-dev libfmt-dev libtomlplusplus-dev libsqlitecpp-dev libsqlite3-dev libpugixml-dev libcli11-dev libqrencode-dev libssl-dev
  liblo-dev)
if [ "$want" = tests ]; then
  packages+=(libgtest-dev libbenchmark-dev python3 python3-numpy jackd2 clang-14 clang-format-14 clang-tidy-14 libclang-rt-14-dev
    shellcheck curl fonts-dejavu-core libxml2-utils zsh fish)
  # The companion page is built and tested with node and npm.
  command -v node >/dev/null 2>&1 || packages+=(nodejs)
  command -v npm >/dev/null 2>&1 || packages+=(npm)
  command -v "${CHROMIUM:-/usr/bin/chromium}" >/dev/null 2>&1 || packages+=(chromium)
fi
command -v dpkg-query >/dev/null && command -v apt-get >/dev/null ||
  fail "this is no Debian, so install by its own means what these packages of Debian 12 hold: ${packages[*]}"
missing=()
for package in "${packages[@]}"; do
  dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed || missing+=("$package")
done
if [ ${#missing[@]} -eq 0 ]; then
  echo "setup: everything is installed"
  exit 0
fi

as_root=()
if [ "$(id -u)" -ne 0 ]; then
  command -v sudo >/dev/null || fail "${#missing[@]} packages are missing, and only root may install them. There is no sudo here, and nothing has been installed." \
    "As root, run: apt-get install --no-install-recommends ${missing[*]}" "Then run this again."
  as_root=(sudo)
fi
install=(apt-get install -y --no-install-recommends "${missing[@]}")

# What it would do. Without lists of packages nothing is known, and fetching them changes nothing but these lists.
plan() { LC_ALL=C apt-get -s --no-install-recommends install "${missing[@]}" 2>&1; }
if ! planned=$(plan); then
  echo "setup: fetching Debian's lists of packages"
  [ ${#as_root[@]} -eq 0 ] || echo "setup: sudo may ask for your password"
  "${as_root[@]}" apt-get update -qq || true
  planned=$(plan) || fail "these packages can't be found: ${missing[*]}" \
    "Is this Debian 12, and does it reach Debian's servers? apt says: $(grep '^E:' <<<"$planned" | head -n 1)"
fi
count=$(grep -c '^Inst ' <<<"$planned" || true)
# Their sizes, from Debian's own lists: Size in bytes to download, Installed-Size in KiB on the disk.
mapfile -t named <<<"$(sed -n 's/^Inst \([^ ]*\) .*(\([^ ]*\) .*/\1=\2/p' <<<"$planned")"
sizes=$(apt-cache show --no-all-versions "${named[@]}" 2>/dev/null | awk '
  $1 == "Size:" {fetched += $2} $1 == "Installed-Size:" {kept += $2}
  END {printf "%.0f MB to download, %.0f MB on the disk", fetched / 1e6, kept * 1024 / 1e6}')
echo "setup: Undersong needs ${#missing[@]} packages that are missing; with what they need themselves that is $count packages,"
echo "setup: $sizes. All come from Debian: ${missing[*]}"
[ ${#as_root[@]} -eq 0 ] || echo "setup: sudo installs them, and may ask for your password"
if [ -n "$ask" ] && [ -t 0 ] && [ -t 1 ]; then
  read -r -p "setup: install them? [Y/n] " answer || answer=n
  case "$answer" in
    "" | [yYjJ]*) ;;
    *) fail "nothing has been installed" ;;
  esac
fi

# apt tells on a channel of its own how far it is: dlstatus:1:45.6:Retrieving file 3 of 9, pmstatus:g++:45.6:Unpacking g++.
said=$(mktemp)
trap 'rm -f "$said"' EXIT
progress() {
  local kind percent text last=-10 shown
  while IFS=: read -r kind _ percent text; do
    case "$kind" in
      dlstatus) shown="downloading" ;;
      pmstatus) shown="installing" ;;
      *) continue ;;
    esac
    percent=${percent%%.*}
    if [ -t 1 ]; then
      printf '\r\033[Ksetup: %s, %s %%  %s' "$shown" "$percent" "${text:0:50}"
    elif [ "$percent" -ge $((last + 20)) ] || [ "$percent" -lt "$last" ]; then
      printf 'setup: %s, %s %%\n' "$shown" "$percent"
      last=$percent
    fi
  done
  [ ! -t 1 ] || printf '\r\033[K'
}
began=$SECONDS
quietly() {
  # Options of apt, so that they pass through sudo: its own pipes do not.
  "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive sh -c 'said=$1; shift; exec "$@" -o APT::Status-Fd=3 3>&1 >"$said" 2>&1' - "$said" "${install[@]}"
}
if ! quietly | progress; then
  # Lists that are too old name files that are gone.
  echo "setup: that failed; trying again with new lists of packages"
  "${as_root[@]}" apt-get update -qq || true
  quietly | progress || fail "apt can't install them: $(grep -E '^(E|W):' "$said" | head -n 3 || tail -n 3 "$said")"
fi
echo "setup: installed $count packages in $((SECONDS - began)) s"
